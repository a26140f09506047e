"""What people type back to a check, and what it must be understood as: (text, expects, meaning).

A meaning is a number (V or ohm), ("about", number), "OL", a (low, high) pair for a wandering reading,
"refused", or ("doubtful", candidates...), where a candidate is a number or "OL". All rows are
invented, after the slips that the project's notes say were seen.
"""

V, R = "voltage", "resistance"
VOLTS = [
    *[
        (text, V, 12.4)
        for text in ("12.4", "12,4", "12.4 V", "12,4 V", "12.4v", "12.4V", "12,4V", "12.4 volts")
    ],
    *[
        (text, V, 12.4)
        for text in ("12.4 Volts", "12.4 VOLTS", "12.4 volt", "12.4 VDC", "12.4 V DC", "12.4 vdc")
    ],
    *[
        (text, V, 12.4)
        for text in ("+12.4", " 12.4 ", "12.4\n", "\t12.4", "12.4\tV", "12.4 V.", "12.4 volts.")
    ],
    *[(text, V, 12.4) for text in ("12.4\u00a0V", "12.4\u2009V", "012.4")],
    *[(text, V, 12.4) for text in ("12400 mV", "12400mV", "12400 mv", "12400 millivolts", "12.40", "12.400")],
    *[
        (text, V, 12.0)
        for text in ("12", "12.", "12,", "12.0", "12 V", "12. V", "12,0", "12v", "12 volts", "１２")
    ],
    *[
        (text, V, 0.45)
        for text in ("450mV", "450 mV", "450 mv", "450 m V", "0.45 V", "0.45", ".45", ",45", "0,45 V")
    ],
    *[
        (text, V, 0.45)
        for text in ("450 millivolts", "450 Millivolts", "450 mvolts", "450 mV DC", "450000 µV")
    ],
    *[(text, V, 0.45) for text in ("450000 μV", "450000 uV", "450㎷", "450.0 mV", "+450 mV", "450,0 mV")],
    *[
        (text, V, -12.4)
        for text in ("-12.4", "-12,4", "−12.4", "–12.4 V", "-12.4 volts", "—12.4", "－12.4", "-12400 mV")
    ],
    *[
        (text, V, 0.0)
        for text in ("0", "0.0", "0.00", "-0", "-0.00", "0 V", "0mV", "0,0", ".0", "0.", "000", "+0")
    ],
    *[(text, V, 0.05) for text in ("0.05", "0,05", ".05", "50 mV", "50mV", "0.050 V", "50 mv.")],
    *[(text, V, -0.3) for text in ("-0.3", "-.3", "-300 mV", "−0,3 V", "-0.30")],
    *[(text, V, 20.0) for text in ("20", "20 V", "20.0", "20000 mV")],
    ("1", V, 1.0),
    ("1.", V, 1.0),
    ("12,600", V, 12.6),
    ("12,600 V", V, 12.6),
    ("1,240", V, 1.24),
    ("0,125 V", V, 0.125),
    ("12.600000000", V, 12.6),
]
ABOUT = [
    *[
        (text, V, ("about", 12.0))
        for text in ("about 12", "About 12 V", "~12", "~ 12", "≈12", "ca. 12", "ca 12 V")
    ],
    *[
        (text, V, ("about", 12.0))
        for text in ("approx 12", "approx. 12", "approximately 12 volts", "roughly 12")
    ],
    *[
        (text, V, ("about", 12.0))
        for text in ("around 12", "circa 12", "nearly 12", "almost 12 V", "12ish", "12-ish")
    ],
    *[(text, V, ("about", 12.0)) for text in ("12 ish", "12 or so", "12 V or so", "ABOUT 12")],
    ("about 450 mV", V, ("about", 0.45)),
    ("about -0.3", V, ("about", -0.3)),
    ("about 90 ohm", R, ("about", 90.0)),
    ("~1.2k", R, ("about", 1200.0)),
    ("about 1", R, ("about", 1.0)),
]
OHMS = [
    *[
        (text, R, 0.8)
        for text in ("0.8", "0,8", ".8", "0.8 ohm", "0.8 ohms", "0.8 OHM", "0.8 Ohms", "0.8Ω", "0.8 Ω")
    ],
    *[(text, R, 0.8) for text in ("0.8 \u2126", "0.8 ω", "０．８", "+0.8", "0.80", "0.8 ohm.")],
    *[
        (text, R, 90.0)
        for text in ("90", "90 ohm", "90Ω", "90.0", "90ohms", "90 OHMS", "0.09k", "0.09 kΩ", "90.")
    ],
    *[
        (text, R, 1200.0)
        for text in ("1.2k", "1.2 k", "1.2K", "1.2 kΩ", "1.2 kohm", "1.2 Kohm", "1.2 KOHM", "1,2k")
    ],
    *[
        (text, R, 1200.0)
        for text in ("1.2 k ohm", "1.2 kohms", "1.2 kilohms", "1.2 kiloohm", "1200", "1200 ohm", "1.2㏀")
    ],
    *[
        (text, R, 2.3e6)
        for text in ("2.3M", "2.3 M", "2.3 MΩ", "2.3 Mohm", "2.3 megohm", "2.3 megaohms", "2300k", "2.3㏁")
    ],
    *[(text, R, 1.0) for text in ("1.0", "1 ohm", "1Ω", "1.0 Ω", "01.0", "1,0")],
    *[(text, R, 0.0) for text in ("0", "0.0", "-0.0", "0 ohm", "0.00 Ω")],
    ("12 ohm", R, 12.0),
    ("680", R, 680.0),
    ("0,125", R, 0.125),
]
OVER = [
    *[
        (text, R, "OL")
        for text in ("OL", "ol", "O.L", "0L", "0.L", "O.L.", "OL.", ".OL", "o l", "Ol", "ＯＬ", "0.l", "O L")
    ],
    *[
        (text, R, "OL")
        for text in ("over limit", "Over Limit", "overload", "overlimit", "over range", "open line")
    ],
    *[
        (text, R, "OL")
        for text in ("open", "open circuit", "inf", "INF", "∞", "infinite", "infinity", "OL MΩ", "OL ohm")
    ],
    *[(text, R, "OL") for text in ("OL kohm", "0L MΩ", "OL Ω", "OLΩ", "∞ Ω")],
    *[(text, V, "refused") for text in ("OL", "ol", "0L", "O.L.", "overload", "inf", "∞", "open")],
]
WANDERING = [
    *[
        (text, V, (2.0, 8.0))
        for text in ("2..8", "2 .. 8", "2 .. 8 V", "2..8V", "2 to 8", "2 to 8 V", "2to8", "2-8")
    ],
    *[
        (text, V, (2.0, 8.0))
        for text in ("2 - 8", "2–8", "2 — 8 V", "2V to 8V", "2 V - 8 V", "2 volts to 8 volts")
    ],
    *[
        (text, V, (2.0, 8.0))
        for text in ("wanders 2 to 8", "wandering 2..8", "wanders 2-8", "Wanders from 2 to 8 V")
    ],
    *[
        (text, V, (2.0, 8.0))
        for text in ("between 2 and 8", "from 2 to 8", "varies 2 to 8", "jumps between 2 and 8")
    ],
    *[
        (text, V, (2.0, 8.0))
        for text in ("8 to 2", "between 8 and 2", "2to 8", "2000 mV to 8 V", "2000-8000 mV")
    ],
    *[
        (text, V, (2.0, 8.0))
        for text in ("it wanders 2 to 8", "drifts from 2 to 8", "2.0..8.0", "2,0 to 8,0", "2 TO 8")
    ],
    ("-2 to 8", V, (-2.0, 8.0)),
    ("-2..8", V, (-2.0, 8.0)),
    ("-8 to -2", V, (-8.0, -2.0)),
    ("-0.3 to 0.2 V", V, (-0.3, 0.2)),
    ("1,5-2,5 V", V, (1.5, 2.5)),
    ("1.5..2.5", V, (1.5, 2.5)),
    (".2...8", V, "refused"),
    ("200 to 450 mV", V, (0.2, 0.45)),
    ("12-14", V, (12.0, 14.0)),
    ("80 to 100", R, (80.0, 100.0)),
    ("80-100 ohm", R, (80.0, 100.0)),
    ("1k to 2k", R, (1000.0, 2000.0)),
    ("1 to 2 kohm", R, (1000.0, 2000.0)),
    ("-8to-2", V, (-8.0, -2.0)),
    (".2.. .8", V, (0.2, 0.8)),
    (".2...8", R, "refused"),
    ("0.5 .. 0.9 Ω", R, (0.5, 0.9)),
]
DOUBTED = [
    ("124", V, ("doubtful", 12.4, 0.124)),
    ("1240", V, ("doubtful", 12.4, 1.24)),
    ("450", V, ("doubtful", 4.5, 0.45)),
    ("126", V, ("doubtful", 12.6, 0.126)),
    ("24", V, ("doubtful", 2.4, 0.024, 24.0)),
    ("24 V", V, ("doubtful", 2.4, 24.0)),
    ("24.6 V", V, ("doubtful", 2.46, 24.6)),
    ("-124", V, ("doubtful", -12.4, -0.124)),
    ("124 V", V, ("doubtful", 12.4)),
    ("12600", V, ("doubtful", 12.6, 12.6)),
    ("45000 mV", V, ("doubtful", 4.5, 45.0)),
    ("20.1", V, ("doubtful", 2.01, 0.0201, 20.1)),
    ("12.4 kV", V, ("doubtful", 12.4, 0.0124)),
    ("12.4 KV", V, ("doubtful", 12.4, 0.0124)),
    ("450 MV", V, ("doubtful", 0.45)),
    ("450 Mv", V, ("doubtful", 0.45)),
    ("12.4 MV", V, ("doubtful", 0.0124, 12.4)),
    ("12.4 megavolts", V, ("doubtful", 12.4, 0.0124)),
    ("12..4", V, ("doubtful", 12.4)),
    ("12..4 V", V, ("doubtful", 12.4)),
    ("5000 V", V, ("doubtful", 5.0)),
    ("12..46", V, ("doubtful", 12.46)),
    ("0..45", V, ("doubtful", 0.45)),
    ("12-4", V, ("doubtful", 12.4)),
    ("8 - 2", V, ("doubtful", 8.2)),
    ("12..12", V, ("doubtful", 12.12)),
    ("1,240 mV", V, ("doubtful", 0.00124, 1.24)),
    ("1,234", R, ("doubtful", 1.234, 1234.0)),
    ("12,400 ohm", R, ("doubtful", 12.4, 12400.0)),
    ("1", R, ("doubtful", 1.0, "OL")),
    ("1.", R, ("doubtful", 1.0, "OL")),
    ("1   .", R, ("doubtful", 1.0, "OL")),
    (" 1 ", R, ("doubtful", 1.0, "OL")),
    ("2.3 m", R, ("doubtful", 2.3e6, 0.0023)),
    ("2.3 mohm", R, ("doubtful", 2.3e6, 0.0023)),
    ("5 mΩ", R, ("doubtful", 5e6, 0.005)),
    ("90..5", R, ("doubtful", 90.5)),
]
NONSENSE = [
    *(
        "",
        " ",
        "\n",
        "abc",
        "good",
        "hot",
        "V",
        "mV",
        "volts",
        ".",
        ",",
        "-",
        "+",
        "--",
        "..",
        "%",
        "V 12",
        "x12",
    ),
    *(
        "12 V V",
        "12 V 3",
        "12 3",
        "12 4",
        "1 2.4",
        "12.4 12.5",
        "12.4, 12.5",
        "12;4",
        "12:4",
        "12/4",
        "12'4",
        "12·4",
    ),
    *(
        "12.4.5",
        "12,4,5",
        "1,234.5",
        "1.234,5",
        "12.600,5",
        "12,,4",
        "12.,4",
        "12,.4",
        "--12",
        "+-12",
        "- 12",
        "12-",
    ),
    *(
        "nan",
        "NaN",
        "nan V",
        "1e3",
        "1e-3",
        "1E1",
        "12e",
        "0x0c",
        "0b11",
        "1_2",
        "١٢",
        "१२",
        "12½",
        "½",
        "12²",
        "⑫",
    ),
    *(
        "12\x004",
        "\x1b[31m12.4",
        "12.4\x1b[0m",
        "12\u200b.4",
        "\u202e4.21",
        "12.4\x07",
        "12\n4",
        "12\r4",
        "\ud800",
    ),
    *(
        "12 A",
        "6.2 amps",
        "12 Ah",
        "20 °C",
        "30 %",
        "12 W",
        "3 s",
        "3 min",
        "10 S",
        "14 AWG",
        "2.5 mm²",
        "5 Hz",
        "12 k",
    ),
    *(
        "12 m",
        "12 M",
        "12 VAC",
        "12 V AC",
        "12 V~",
        "120 vac",
        "O.45",
        "l2.4",
        "1O.5",
        "12.4?",
        "(12.4)",
        "=12.4",
        "<1",
    ),
    *(
        "> 10",
        "2 to",
        "to 8",
        "2 to 8 to 9",
        "2..",
        "..8",
        "2-8-9",
        "2--8",
        "-2-8",
        "2 and 8",
        "wanders",
        "wanders 12",
    ),
    *(
        "between 2",
        "2 V to 8",
        "12 to 46",
        "2 to OL",
        "1 kV to 2 kV",
        "500000 V",
        "2...8",
        "2…8",
        "12...4",
        "0...8",
        "12….4",
        "12 to 12",
        "12.4 ± 0.1",
        "12V4",
    ),
    *("12.4 V and 3", "twelve", "12 volts 4", "12.4 mV V", "12 mmV", "12 Vm", "about", "~", "about about 12"),
    *(
        "9" * 79,
        "1" * 10_000,
        "12.4" + " " * 10_000 + "V",
        "a" * 10_000,
        "[/]",
        "[R1] 12",
        "'; drop",
        "<b>12</b>",
    ),
]
NO_OHMS = [
    *(
        "-0.3",
        "-5 ohm",
        "−12",
        "-2 to 8",
        "12 V",
        "450 mV",
        "12 volts",
        "5 A",
        "90 R",
        "1k2",
        "4R7",
        "nan",
        "1,2,3",
    ),
    *(
        "90 ohm ohm",
        "90 kV",
        "10 G",
        "5 u",
        "- 1",
        "1 mohm to 2 mohm",
        "100 to 80 to 60",
        "beep",
        "90 Ω V",
        "1..2..3",
    ),
]
ODDITIES = [
    *VOLTS,
    *ABOUT,
    *OHMS,
    *OVER,
    *WANDERING,
    *DOUBTED,
    *[(text, V, "refused") for text in NONSENSE],
    *[(text, R, "refused") for text in NO_OHMS],
]

# (text, choices, the choice that must be understood, or "refused")
CLICKS = ("clicks", "no click", "not sure")
YES_NO = ("yes", "no", "not sure")
RUNS = ("runs", "runs slowly", "does not run")
SEEN = [
    *[
        (text, CLICKS, "clicks")
        for text in ("clicks", "Clicks", "CLICKS.", "click", "c", "1", "1.", "1)", "#1", " clicks ")
    ],
    *[(text, CLICKS, "no click") for text in ("no click", "no c", "No  Click", "2", "no click!", "２")],
    *[
        (text, CLICKS, "not sure")
        for text in ("not sure", "not", "3", "unsure", "dunno", "don't know", "can’t tell")
    ],
    *[
        (text, CLICKS, "refused")
        for text in ("n", "4", "0", "-1", "12.4", "it", "clickss", "", ".", "silent", "1 2")
    ],
    *[(text, YES_NO, "yes") for text in ("yes", "y", "Y", "Yes.", "yep", "yeah", "1", "ye")],
    *[(text, YES_NO, "no") for text in ("no", "n", "N", "nope", "nah", "2", "No!")],
    *[(text, YES_NO, "not sure") for text in ("not", "not sure", "3", "unsure")],
    *[(text, YES_NO, "refused") for text in ("maybe", "yess", "yn", "OL", "12 V", "\x1b[2Jyes", "yes\x00")],
    *[(text, RUNS, "runs") for text in ("runs", "1", "RUNS")],
    *[(text, RUNS, "runs slowly") for text in ("runs s", "runs slowly", "2")],
    *[(text, RUNS, "does not run") for text in ("d", "does not", "3")],
    *[(text, RUNS, "refused") for text in ("r", "run", "no", "y")],
    ("1", ("2 clicks", "1 click"), "refused"),
    ("1 c", ("2 clicks", "1 click"), "1 click"),
]
