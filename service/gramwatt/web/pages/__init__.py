"""Pages for people, made from the declarations: `routes` says which there are, `reading` reads a form, `fields` and
`told` are what the templates show, `snippets` asks the same again from elsewhere."""
