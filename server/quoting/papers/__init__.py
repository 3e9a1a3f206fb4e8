"""The documents of a quote: PDF, spreadsheet, XML; pure functions of what is printed."""
