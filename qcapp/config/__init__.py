"""How the product is put together: settings from the environment, their checks, addresses, the WSGI entry."""
