"""Pages: forms and views without the REST framework, one package for each kind of user."""
