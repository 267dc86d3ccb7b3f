//! One column converted.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::Constant;
use crate::export::table::{Column, Row};
use crate::export::value::{Kind, Value, round};
use crate::record::model::Frame;
use crate::units::LengthUnit;

/// How a column of a field file comes by its values.
#[derive(Clone, Debug)]
pub struct Conversion {
    /// Our column; none for the same value in every row.
    pub(super) from: Option<Column>,
    /// That value.
    pub(super) fixed: Option<Constant>,
    /// Type of what is written.
    pub(super) kind: Kind,
    /// What numbers are multiplied with.
    pub(super) factor: f64,
    /// Unit of what is written, where the file names one.
    pub(super) into: Option<LengthUnit>,
    /// Decimals of what is written; as many as our column has if left out.
    pub(super) decimals: Option<i32>,
    /// What is written for each value.
    pub(super) values: BTreeMap<String, Constant>,
    /// What is written for a value not among them.
    pub(super) otherwise: Option<Constant>,
}

impl Conversion {
    /// The value of a row.
    ///
    /// # Errors
    /// What is wrong with it: not among `values`, or not of the type.
    pub fn value<'a>(&'a self, row: Row<'a>) -> Result<Value<'a>, String> {
        if let Some(fixed) = &self.fixed {
            return Ok(given(fixed));
        }
        let Some(from) = &self.from else {
            return Ok(Value::Absent);
        };
        // Converted before it is rounded, so that nothing is rounded twice.
        let value = from.unrounded(row);
        if value.is_absent() {
            return Ok(Value::Absent);
        }
        if !self.values.is_empty() {
            let text = from.value(row).text().into_owned();
            let found = self.values.get(&text).or(self.otherwise.as_ref());
            return found.map(given).ok_or_else(|| {
                format!("\"{text}\" is not among `values`, and there is no `otherwise`")
            });
        }
        let value = match value {
            Value::Real(number) => {
                let decimals = self.decimals.or_else(|| from.quantity.decimals());
                let number = number * self.factor;
                Value::Real(decimals.map_or(number, |decimals| round(number, decimals)))
            }
            value => value,
        };
        typed(value, self.kind)
    }

    /// Name of our column whose values are written as they are.
    #[must_use]
    pub fn unchanged(&self) -> Option<&str> {
        let from = self.from.as_ref()?;
        let same = self.values.is_empty() && self.kind == from.quantity.kind();
        same.then_some(from.name.as_str())
    }

    /// The unit of what is written, for people.
    #[must_use]
    pub fn unit<'a>(&'a self, frame: &'a Frame) -> Option<&'a str> {
        if let Some(into) = self.into {
            return Some(into.symbol());
        }
        let from = self.from.as_ref().filter(|_| self.values.is_empty())?;
        from.unit(frame)
    }
}

fn given(constant: &Constant) -> Value<'_> {
    match constant {
        Constant::Text(text) => Value::Text(Cow::Borrowed(text)),
        Constant::Integer(value) => Value::Integer(*value),
        Constant::Real(value) => Value::Real(*value),
    }
}

fn typed(value: Value<'_>, kind: Kind) -> Result<Value<'_>, String> {
    Ok(match (value, kind) {
        (Value::Text(text), Kind::Integer) => match text.trim().parse() {
            Ok(number) => Value::Integer(number),
            Err(_) => return Err(format!("\"{text}\" is not a whole number")),
        },
        (Value::Text(text), Kind::Real) => match text.trim().parse::<f64>() {
            Ok(number) if number.is_finite() => Value::Real(number),
            _ => return Err(format!("\"{text}\" is not a number")),
        },
        (Value::Integer(number), Kind::Real) => Value::Real(number as f64),
        (Value::Real(number), Kind::Integer) => {
            let whole = number.round();
            // Beyond 2^53 a double no longer tells one whole number from the next.
            if whole.abs() > 9_007_199_254_740_992.0 {
                return Err(format!("{number} is too large for a whole number"));
            }
            Value::Integer(whole as i64)
        }
        (value @ (Value::Integer(_) | Value::Real(_)), Kind::Text) => {
            Value::Text(Cow::Owned(value.text().into_owned()))
        }
        (value, _) => value,
    })
}
