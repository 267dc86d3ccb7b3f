//! Cells in the binary form of COPY.

use postgres::types::private::BytesMut;
use postgres::types::{IsNull, ToSql, Type, to_sql_checked};

use crate::export::value::{Value, without_nul};

/// A cell of a row.
#[derive(Debug)]
pub enum Cell<'a> {
    Geometry(Option<Vec<u8>>),
    Value(Value<'a>),
}

impl ToSql for Cell<'_> {
    fn to_sql(
        &self,
        kind: &Type,
        out: &mut BytesMut,
    ) -> Result<IsNull, Box<dyn std::error::Error + Sync + Send>> {
        match self {
            Self::Geometry(Some(bytes)) => bytes.to_sql(kind, out),
            Self::Geometry(None) | Self::Value(Value::Absent) => Ok(IsNull::Yes),
            Self::Value(Value::Text(text)) => without_nul(text).as_ref().to_sql(kind, out),
            Self::Value(Value::Integer(value)) => value.to_sql(kind, out),
            Self::Value(Value::Real(value)) => value.to_sql(kind, out),
        }
    }

    fn accepts(_: &Type) -> bool {
        true
    }

    to_sql_checked!();
}
