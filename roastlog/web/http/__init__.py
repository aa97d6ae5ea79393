"""The base of all pages: security, roles, language, formatting, forms, assets, problem pages."""
