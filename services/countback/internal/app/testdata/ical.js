// Reads an iCalendar object on standard input with ical.js, given by its folder,
// and writes what it found as JSON. It fails on what ical.js cannot read, on a
// second entry with one UID, and on an entry that lasts less than no time.
import(process.argv[2] + "/dist/ical.min.js").then((module) => {
  const ICAL = module.default;
  const text = require("fs").readFileSync(0, "utf8");
  for (const line of text.split("\r\n")) {
    if (Buffer.byteLength(line) > 75) throw new Error("a line is longer than 75 octets: " + line);
    if (line.includes("\n")) throw new Error("a line ends without CR");
  }
  const cal = new ICAL.Component(ICAL.parse(text));
  const seen = new Set();
  const events = cal.getAllSubcomponents("vevent").map((v) => {
    const e = new ICAL.Event(v);
    if (seen.has(e.uid)) throw new Error("two entries with the UID " + e.uid);
    seen.add(e.uid);
    if (e.endDate.compare(e.startDate) < 0) throw new Error("it ends before it begins: " + e.uid);
    if (v.hasProperty("dtend") && e.endDate.compare(e.startDate) === 0) throw new Error("DTEND must be later than DTSTART: " + e.uid);
    return {
      uid: e.uid, title: e.summary, text: e.description || "", sequence: e.sequence,
      status: v.getFirstPropertyValue("status"), allDay: e.startDate.isDate,
      start: e.startDate.isDate ? e.startDate.toString() : e.startDate.toJSDate().toISOString(),
      end: v.hasProperty("dtend") ? e.endDate.toString() : "",
    };
  });
  const value = (name) => String(cal.getFirstPropertyValue(name));
  process.stdout.write(JSON.stringify({
    version: value("version"), method: value("method"), refresh: value("refresh-interval"), events,
  }));
}).catch((e) => { console.error(e.message); process.exit(1); });
