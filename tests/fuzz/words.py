"""What edits put in: pieces that parsers stumble over."""

NUMBERS = tuple(
    text.encode()
    for text in (
        *("0", "-0", "-0.0", "1", "-1", "0.5", "1e308", "1e309", "-1e308", "1e-320", "1e5000", "NaN", "Infinity"),
        *("9" * 20, "9" * 5000, "1" + "0" * 4400, str(2**53), str(2**63 - 1), str(2**63), str(2**64 - 1), str(2**64)),
        *(str(10**15), str(10**15 + 1), str(-(10**15)), str(2 * 10**17), "0x10", "1_000", "1.0", "+1", ".5", "5.", "٢٥"),
    )
)
TEXT = (
    b"\xff", b"\xed\xa0\x80", b"\xef\xbb\xbf", b"\x00", b"\r\n", b"\\ud800", b"\\u0000", b"\\", b'"', b"'",
    "\u202e".encode(), "\u2028".encode(), "İ".encode(), "ß".encode(), "о".encode(), "🎻".encode(), b"\x1b[2J",
)  # fmt: skip
JSON = (
    *(b"{", b"}", b"[", b"]", b",", b":", b"{}", b"[]", b"null", b"true", b"false", b'""', b'"a":', b'{"a":', b" "),
    *(b'"hold"', b'"level"', b'"kelvin"', b'"for"', b'"bias"', b'"target"', b'"lx"', b'"vacant"', b'"90m"'),
)
TOML = (
    *(b"\n", b"=", b"#", b"[", b"]", b"[[", b"]]", b"{", b"}", b".", b",", b"nan", b"inf", b"true", b"''", b'"""'),
    *(b"'5m'", b"'0s'", b"08:30:00", b"2026-03-02", b"'sunset - 30m'", b"[rooms.workshop]", b"[sensors.x]", b"$$"),
    *(b"'$byte'", b"'$'", b"$on", b"level", b"follow", b"lux", b"kelvin", b"xy", b"sun", b"[1, 0]", b"{ a = 1 }"),
)
DURATION = (b"d", b"h", b"m", b"s", b"1", b"90", b".", b"0.4", b"999999999999", b"-", b"+", b" ", b"e", b"\n")
METAR = (
    b"METAR", b"SPECI", b"TAF", b"RMK", b"BECMG", b"TEMPO", b"NOSIG", b"CAVOK", b"SKC", b"CLR", b"NSC", b"NCD", b"FEW015",
    b"SCT020CB", b"BKN040", b"OVC008", b"VV001", b"//////", b"Z", b"KT", b"9999", b"1/2SM", b"M", b"P", b"R18/", b"Q1012",
    b"+RA", b"-SN", b"VC", b"=", b"  ", b"251350Z", b"EGPF", b"99999Z", b"00000KT",
)  # fmt: skip
PLACEHOLDERS = (
    b"$", b"$$", b"$on", b"$level", b"$percent", b"$byte", b"$arc", b"$raw", b"$kelvin", b"$mired", b"$x", b"$y", b"$red",
    b"$green", b"$blue", b"$fade", b"$lvl", b"$ON", b"${on}", b"$on$level",
)  # fmt: skip
