//! Writing HTML so that nothing from a record is ever markup: text and attribute values are escaped on their way in.

/// A page being written.
#[derive(Debug, Default)]
pub struct Html(String);

impl Html {
    /// Markup of our own; never anything that came from a record.
    pub fn raw(&mut self, markup: &str) -> &mut Self {
        self.0.push_str(markup);
        self
    }

    /// An opening tag.
    pub fn open(&mut self, tag: &'static str, attributes: &[(&'static str, &str)]) -> &mut Self {
        self.0.push('<');
        self.0.push_str(tag);
        for (name, value) in attributes {
            self.0.push(' ');
            self.0.push_str(name);
            self.0.push_str("=\"");
            escape(value, &mut self.0);
            self.0.push('"');
        }
        self.0.push('>');
        self
    }

    /// A closing tag.
    pub fn close(&mut self, tag: &'static str) -> &mut Self {
        self.0.push_str("</");
        self.0.push_str(tag);
        self.0.push('>');
        self
    }

    /// Text.
    pub fn text(&mut self, text: &str) -> &mut Self {
        escape(text, &mut self.0);
        self
    }

    /// An element that holds text.
    pub fn element(
        &mut self,
        tag: &'static str,
        attributes: &[(&'static str, &str)],
        text: &str,
    ) -> &mut Self {
        self.open(tag, attributes).text(text).close(tag)
    }

    /// The page so far.
    #[must_use]
    pub fn finish(self) -> String {
        self.0
    }
}

/// HTML's five characters; control characters, which HTML forbids, become U+FFFD.
fn escape(text: &str, out: &mut String) {
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' => out.push(c),
            c if c.is_control() => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
}

/// JSON that may stand in a script element: no `<`, `>` or `&` is left that could end it.
#[must_use]
pub fn script_json(value: &serde_json::Value) -> String {
    let text = value.to_string();
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '<' => out.push_str("\\u003c"),
            '>' => out.push_str("\\u003e"),
            '&' => out.push_str("\\u0026"),
            '\u{2028}' => out.push_str("\\u2028"),
            '\u{2029}' => out.push_str("\\u2029"),
            c => out.push(c),
        }
    }
    out
}

/// Standard base64 with padding (RFC 4648, section 4), for the hashes of the content policy.
#[must_use]
pub fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for chunk in bytes.chunks(3) {
        let at = |i: usize| u32::from(chunk.get(i).copied().unwrap_or(0));
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for i in 0..4 {
            let letter = LETTERS
                .get((bits >> (18 - 6 * i) & 63) as usize)
                .copied()
                .unwrap_or(b'=');
            out.push(if i <= chunk.len() {
                char::from(letter)
            } else {
                '='
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_are_inert() {
        let mut page = Html::default();
        page.element(
            "p",
            &[("title", "\" onclick=\"alert(1)")],
            "<script>alert('x')</script>&\u{0}",
        );
        assert_eq!(
            page.finish(),
            "<p title=\"&quot; onclick=&quot;alert(1)\">&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;&amp;\u{fffd}</p>"
        );
    }

    #[test]
    fn data_cannot_end_its_script() {
        let data = serde_json::json!({ "note": "</script><!--&\u{2028}" });
        let text = script_json(&data);
        assert!(!text.contains('<') && !text.contains('&') && !text.contains('\u{2028}'));
        assert_eq!(
            serde_json::from_str::<serde_json::Value>(&text).unwrap(),
            data
        );
    }

    #[test]
    fn base64_is_that_of_rfc_4648() {
        // Section 10 of the RFC.
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }
}
