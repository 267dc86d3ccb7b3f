use std::path::Path;

use super::Fields;

fn parse(text: &str) -> Result<Fields, String> {
    Fields::parse(Path::new("f.toml"), text).map_err(|error| error.to_string())
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let cases = [
        (
            "[run]\n[[run.column]]\nfrom = \"materiel\"\n",
            "line 2: `run` has no column \"materiel\"",
        ),
        (
            "[run]\n\n[[run.column]]\nname = \"A\"\n",
            "line 3: a column needs `from`",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"id\"\nvalue = 1\n",
            "line 2: a column has either",
        ),
        (
            "[run]\n[[run.column]]\nvalue = 1\n",
            "line 2: a column with a `value` needs a `name`",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"id\"\n[[run.column]]\nfrom = \"run\"\nname = \"ID\"\n",
            "line 4: [run] has two columns called \"ID\"",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"length\"\nunit = \"yard\"\n",
            "line 4: ",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"length\"\ndecimals = 12\n",
            "line 2: `decimals` is 0 to 9",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"id\"\notherwise = 1\n",
            "line 2: `otherwise` is for",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"id\"\ntype = \"integer\"\nvalues = { a = \"b\" }\n",
            "line 2: a given value is not",
        ),
        (
            "[run]\n[[run.column]]\nname = \"a\\nb\"\nvalue = 1\n",
            "line 2: a name has",
        ),
        (
            "[run]\n[[run.column]]\nname = \"a\"\nvalue = nan\n",
            "line 4: a value is a text in quotes or a number",
        ),
        ("[pipes]\n", "line 1: "),
        ("[run]\n", "line 1: [run] lists no column"),
        ("[run]\ncolour = 1\n", "line 2: "),
        ("[run\n", "line 1: "),
    ];
    for (text, expected) in cases {
        let error = parse(text).unwrap_err();
        assert!(
            error.starts_with(&format!("f.toml: {expected}")),
            "{text}\n{error}"
        );
    }
}

#[test]
fn a_section_with_columns_and_an_empty_file_are_fine() {
    assert!(parse("").is_ok());
    assert!(
        parse("[run]\nothers = \"keep\"\n[[run.column]]\nfrom = \"id\"\nname = \"FACILITY\"\n")
            .is_ok()
    );
    // Columns that a job publishes are only known with its record.
    assert!(parse("[mark]\n[[mark.column]]\nfrom = \"inspector\"\n").is_ok());
}
