//! One finding, as every deliverable shows it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::code::{Code, Level};
use crate::job::model::Source;

/// A matter found in a job: a value, not a text to be parsed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// What it is about.
    pub code: Code,
    /// How serious.
    pub level: Level,
    /// Job id.
    pub job: String,
    /// Run, if it concerns one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub run: Option<String>,
    /// Mark, or other point, if it concerns one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub mark: Option<String>,
    /// `file:row`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub source: Option<String>,
    /// The figure found, in the result unit, degrees or percent as the message says.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub value: Option<f64>,
    /// The limit it was held against, in the same unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub limit: Option<f64>,
    /// What is wrong, with the figures, and what to do about it.
    pub message: String,
    /// Columns of the cells concerned in the row of `source`, for the corrections workbook.
    #[serde(skip)]
    pub columns: Vec<String>,
}

impl Finding {
    /// A finding at its code's own level, without a place yet. `job` is filled in by the pipeline.
    #[must_use]
    pub fn new(code: Code, message: impl Into<String>) -> Self {
        Self {
            code,
            level: code.level(),
            job: String::new(),
            run: None,
            mark: None,
            source: None,
            value: None,
            limit: None,
            message: message.into(),
            columns: Vec::new(),
        }
    }

    /// Sets the level.
    #[must_use]
    pub fn level(mut self, level: Level) -> Self {
        self.level = level;
        self
    }

    /// Sets the row.
    #[must_use]
    pub fn at(mut self, source: &Source) -> Self {
        self.source = Some(source.to_string());
        self
    }

    /// Names a column of the row concerned.
    #[must_use]
    pub fn column(mut self, column: impl Into<String>) -> Self {
        self.columns.push(column.into());
        self
    }

    /// Sets the run.
    #[must_use]
    pub fn run(mut self, run: impl Into<String>) -> Self {
        self.run = Some(run.into());
        self
    }

    /// Sets the mark or point.
    #[must_use]
    pub fn mark(mut self, mark: impl Into<String>) -> Self {
        self.mark = Some(mark.into());
        self
    }

    /// Sets the figure and the limit it was held against.
    #[must_use]
    pub fn figures(mut self, value: f64, limit: Option<f64>) -> Self {
        self.value = value.is_finite().then_some(value);
        self.limit = limit.filter(|limit| limit.is_finite());
        self
    }
}
