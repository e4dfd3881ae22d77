"""The resources under /v1, one module per noun."""
