"""Ground of all pages: security, roles, language, formats, forms, assets, problem pages."""
