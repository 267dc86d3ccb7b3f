//! The schemas in `schemas/` are those that the program prints. `UPDATE_EXPECT=1` rewrites them.

use std::fs;

use super::here;

#[test]
fn the_committed_schemas_are_fresh() {
    for name in aslaid::cli::SCHEMAS {
        let fresh = format!("{:#}\n", aslaid::cli::schema_of(name).unwrap());
        let path = here("schemas").join(format!("{name}.json"));
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            fs::write(&path, &fresh).unwrap();
        }
        let committed = fs::read_to_string(&path).unwrap_or_default();
        assert!(
            committed == fresh,
            "{} is out of date; UPDATE_EXPECT=1 rewrites it",
            path.display()
        );
    }
}
