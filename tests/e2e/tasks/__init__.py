"""Ten tasks of the people who use the app, done in the browser, with clicks and seconds counted."""
