"""Numbers as people type them, and what each must be: one table for the pages' scripts and for the server."""

READ = {
    "3412": 3412.0,
    "3,412": 3.412,
    "3.412": 3.412,
    "1,5": 1.5,
    " 1.5 ": 1.5,
    ",5": 0.5,
    ".5": 0.5,
    "5,": 5.0,
    "-0,5": -0.5,
    "\N{MINUS SIGN}0.5": -0.5,
    "+2": 2.0,
    "1 234,5": 1234.5,
    "1\N{NO-BREAK SPACE}234.5": 1234.5,
    "12\N{NARROW NO-BREAK SPACE}345": 12345.0,
    "1 234 567": 1234567.0,
}
TWO_SIGNS = ("1,234.5", "1.234,5", "1.234.567", "1,234,567", "1..5", "1,,5", "-1,234.5", "1,2,3", ".,5")
NO_NUMBER = ("abc", "1e3", "0x10", "1 5", "12 34", "--1", "1-2", ",", "-", "½", "1'234", "NaN", "Infinity")
