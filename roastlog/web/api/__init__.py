"""The API and its OpenAPI description."""
