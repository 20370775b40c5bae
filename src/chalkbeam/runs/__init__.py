"""Run sheets, the order of work, the record and its report."""
