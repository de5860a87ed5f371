# Reads letters with Python's own email package, which shares nothing with us,
# and says as JSON what a mail program would show. Each comes as its length on
# a line, and its bytes.
#
# Of an address its policy "default" shows the name with a space too many where
# it stands in several encoded words (RFC 2047 section 6.2 says that such space
# is not part of the text; Python 3.11 does so in a subject, and not in a name).
# The name is therefore read the older way too.
import email
import email.header
import email.policy
import email.utils
import json
import sys


def addresses(m, older, name):
    if name not in m:
        return []
    names = [str(email.header.make_header(email.header.decode_header(n))) for n, _ in email.utils.getaddresses(older.get_all(name))]
    return [{"Name": n, "Shown": a.display_name, "Mail": a.addr_spec} for n, a in zip(names, m[name].addresses, strict=True)]


def part(p):
    out = {"Type": p.get_content_type(), "Name": p.get_filename() or "",
           "Older": email.utils.collapse_rfc2231_value(p.get_param("name", "")), "How": p.get("Content-Transfer-Encoding", "")}
    content = p.get_content()
    if isinstance(content, bytes):
        out["Data"] = content.hex()
    else:
        out["Text"] = content
    return out


def report(m):
    """The groups of a delivery report that name a recipient."""
    for p in m.walk():
        if p.get_content_type() == "message/delivery-status":
            groups = [{k.lower(): " ".join(str(v).split()) for k, v in g.items()} for g in p.get_payload()]
            return [g for g in groups if "final-recipient" in g]
    return []


def read(data):
    m = email.message_from_bytes(data, policy=email.policy.default)
    if m.get_content_type() != "text/plain" and (found := report(m)):
        return {"Report": found}
    older = email.message_from_bytes(data)
    defects = [type(d).__name__ for p in m.walk() for d in p.defects]
    defects += [name + ": " + type(d).__name__ for p in m.walk() for name, v in p.items() for d in v.defects]
    html = m.get_body(("html",))
    return {
        "Names": [name for name, _ in m.items()],
        "Headers": {name: str(v) for name, v in m.items()},
        "From": addresses(m, older, "From"), "To": addresses(m, older, "To"), "ReplyTo": addresses(m, older, "Reply-To"),
        "Date": m["Date"].datetime.isoformat(),
        "Text": part(m.get_body(("plain",))),
        "HTML": part(html) if html else None,
        "Files": [part(p) for p in m.iter_attachments()] if m.is_multipart() else [],
        "Defects": defects,
    }


while length := sys.stdin.buffer.readline():
    data = sys.stdin.buffer.read(int(length))
    try:
        answer = read(data)
    except Exception as e:
        answer = {"Error": repr(e)}
    print(json.dumps(answer), flush=True)
