"""The form that is carried into the field."""
