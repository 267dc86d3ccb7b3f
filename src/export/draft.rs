//! How a draft is marked in files: its words ([`Draft::words`]) as a title, a property, a column.

use std::borrow::Cow;

use crate::record::model::Draft;

use super::table::{Column, Getter};
use super::value::Quantity;

/// Name of the property, column or member that only drafts have.
pub const PROPERTY: &str = "draft";

/// A title, with the draft's words before it where the record is one.
#[must_use]
pub fn title<'a>(draft: Option<&Draft>, title: &'a str) -> Cow<'a, str> {
    draft.map_or(Cow::Borrowed(title), |draft| {
        Cow::Owned(format!("{}: {title}", draft.words()))
    })
}

/// The column that only drafts have.
#[must_use]
pub fn column(draft: Option<&Draft>) -> Option<Column> {
    draft.map(|draft| Column {
        name: PROPERTY.to_owned(),
        quantity: Quantity::Text,
        required: true,
        meaning: "not a finished record: rows that can't be used were left out".to_owned(),
        getter: Getter::Fixed(draft.words()),
    })
}
