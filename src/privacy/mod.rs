//! A client's own rights over her record.
