"""The outside of the service: REST resources, the page behind a label, the command line."""
