"""What goes over the wire, field by field."""
