"""One module per section of the report: results in, a frozen `Section` out."""
