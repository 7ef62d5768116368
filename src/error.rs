//! Errors: what went wrong, at which stage, on which file, what to try. An error means the job cannot go on;
//! anything less is a caveat.

use thiserror::Error;

/// The room an error arose in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    Arguments,
    Photo,
    Toolpath,
    Plan,
    ByHand,
    Reference,
    Rectify,
    Floor,
    Marks,
    Report,
    Records,
    Compare,
    Output,
}

impl std::fmt::Display for Stage {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(match self {
            Self::Arguments => "arguments",
            Self::Photo => "reading the photo",
            Self::Toolpath => "reading the cutting file",
            Self::Plan => "reading the plan",
            Self::ByHand => "reading the marks made by hand",
            Self::Reference => "finding the reference",
            Self::Rectify => "bringing to true scale",
            Self::Floor => "finding the floor",
            Self::Marks => "measuring the marks",
            Self::Report => "writing the report",
            Self::Records => "record book",
            Self::Compare => "comparing",
            Self::Output => "saving the results",
        })
    }
}

/// One failure, told so that a person can act on it.
#[derive(Debug, Error)]
#[error("{stage}: {subject}: {what}\n  try: {hint}")]
pub struct Error {
    pub stage: Stage,
    /// The file (or option) concerned, as the user named it.
    pub subject: String,
    pub what: String,
    pub hint: String,
}

impl Error {
    pub fn new(stage: Stage, subject: impl Into<String>, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { stage, subject: subject.into(), what: what.into(), hint: hint.into() }
    }
}

pub type Result<T> = std::result::Result<T, Error>;
