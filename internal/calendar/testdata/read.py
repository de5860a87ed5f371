"""Reads calendar files independently of us, for the tests.

A number of bytes on a line, then so many bytes of a calendar; for each, one
line of JSON comes back. Text and structure are read by the icalendar package.
Version 4.0.3 takes a backslash before a comma, semicolon or colon for part of an
escape even where it is itself escaped (its parser marks them before it splits),
so texts with a backslash are read from the unfolded line, by RFC 5545 section
3.3.11 and nothing else. The VTIMEZONE is read a second time by dateutil, whose reckoning of it is what a
program does that does not know the zone by name.
"""
import io, json, re, sys
from datetime import timedelta
import icalendar
from dateutil import tz

UTC = tz.UTC


def moment(prop, zones):
    dt = prop.dt
    zone = prop.params.get("TZID")
    if zone is None:
        return dt.replace(tzinfo=UTC), None
    return dt.replace(tzinfo=zones.get(zone)), zone


def stamp(dt):
    return dt.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def unescaped(value):
    return re.sub(r"\\([nN\\;,])", lambda m: "\n" if m[1] in "nN" else m[1], value)


def raw(data):
    """For each event, its unfolded lines by name; what stands in its parts is left out."""
    events, depth = [], []
    for line in data.decode("utf-8").replace("\r\n ", "").split("\r\n"):
        name, _, value = line.partition(":")
        if name == "BEGIN":
            depth.append(value)
            if value == "VEVENT":
                events.append({})
        elif name == "END":
            depth.pop()
        elif depth and depth[-1] == "VEVENT":
            events[-1][name] = value
    return events


def text(event, line, name):
    told, value = str(event.get(name, "")), unescaped(line.get(name, ""))
    if "\\\\" not in line.get(name, "") and told != value:
        raise ValueError("%s: icalendar reads %r, the line says %r" % (name, told, value))
    return value


def read(data):
    cal = icalendar.Calendar.from_ical(data)
    lines = raw(data)
    zones = tz.tzical(io.StringIO(data.decode("utf-8"))) if b"BEGIN:VTIMEZONE" in data else {}
    out = {"method": str(cal["METHOD"]), "version": str(cal["VERSION"]), "name": str(cal.get("X-WR-CALNAME", "")), "events": []}
    out["zones"] = [str(z["TZID"]) for z in cal.walk("VTIMEZONE")]
    for e, line in zip(cal.walk("VEVENT"), lines, strict=True):
        start, zone = moment(e["DTSTART"], zones)
        if "DTEND" in e:
            end, _ = moment(e["DTEND"], zones)
            end = end.astimezone(UTC)
        else:
            end = start.astimezone(UTC) + e["DURATION"].dt
        alarms = [a for a in e.walk("VALARM")]
        out["events"].append({
            "uid": str(e["UID"]), "sequence": int(e["SEQUENCE"]), "status": str(e["STATUS"]),
            "stamp": stamp(e["DTSTAMP"].dt), "clock": e["DTSTART"].dt.strftime("%Y-%m-%d %H:%M"), "zone": zone or "",
            "start": stamp(start), "end": stamp(end),
            "summary": text(e, line, "SUMMARY"), "where": text(e, line, "LOCATION"), "text": text(e, line, "DESCRIPTION"),
            "organizer": str(e["ORGANIZER"]), "school": str(e["ORGANIZER"].params.get("CN", "")), "class": str(e["CLASS"]),
            "remind": [int(-a["TRIGGER"].dt / timedelta(minutes=1)) for a in alarms],
            "duration": "DURATION" in e,
        })
    return out


while True:
    head = sys.stdin.buffer.readline()
    if not head:
        break
    data = sys.stdin.buffer.read(int(head))
    try:
        answer = read(data)
    except Exception as e:  # told to the test, which fails
        answer = {"error": "%s: %s" % (type(e).__name__, e)}
    print(json.dumps(answer), flush=True)
