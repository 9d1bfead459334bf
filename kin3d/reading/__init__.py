"""Files in: tables, drawings and car files become frozen data and findings, or an error that says all."""
