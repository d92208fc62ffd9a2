"""The same jobs for machines: JSON in and out, described by OpenAPI, errors by RFC 9457."""
