"""Names that a person may write and that harm whoever writes them down without care."""

NAMES = (
    'say "loud" \\ quiet', "emoji \U0001f39b\ufe0f", "\u05e2\u05d1\u05e8\u05d9\u05ea",
    "e\u0301clat", "=1+1", "+1a", "-x", "@x", "'=1", "a|b`c`", "# heading", "C:\\new\\u0041\\",
    "[text](javascript:alert(1))", "<script>alert(1)</script>", "*bold* _it_", "www.example.org",
    "1. item", "&lt;b&gt;", "'''x\"\"\"", "a = 1, {b}; c",
)  # fmt: skip
IN_ONE = "-\"q\" \\t 'x' = @ \u00fc\U0001f39b #1, {a}; [b]"  # all at once, where each takes long
"""Also the name of a file."""
