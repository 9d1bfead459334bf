"""Files out: tables, drawings and models, made from results."""
