"""The API by the contract, and its OpenAPI description."""
