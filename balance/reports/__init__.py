"""Season-end reports: load and compute one document from the records, then render its forms."""
