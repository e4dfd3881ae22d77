"""The few pages that a person opens: a scanned code, a problem's meaning, the documentation."""
