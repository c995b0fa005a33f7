package app

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/hl7"
	"example.org/countback/testdata"
)

// hl7Systems are the settings with which the corpus in testdata/hl7 is read.
const hl7Systems = "REG=https://registry.meadowfold.example/person,THEATRE=https://theatre.meadowfold.example/appointment," +
	"ORDERS=https://orders.meadowfold.example/surgery,STAFF=https://staff.meadowfold.example/id,MEADOWFOLD=https://theatre.meadowfold.example/room," +
	"DAYSURGERY=https://daysurgery.meadowfold.example/appointment,@hl7v2:DAYSURGERY/WEST=America/Denver"

func hl7Settings(t testing.TB) Config {
	cfg := settings(t)
	cfg.HL7Listen, cfg.HL7System = "127.0.0.1:0", hl7Systems
	return cfg
}

// v2 is one message of the corpus.
type v2 struct {
	name   string
	answer string   // AA, AE or AR
	errs   []string // place:code of each ERR
	body   []byte   // with carriage returns
}

// v2Corpus reads a file of testdata/hl7.
func v2Corpus(t testing.TB, file string) []v2 {
	t.Helper()
	raw, err := fs.ReadFile(testdata.FS, path.Join("hl7", file))
	require.NoError(t, err)
	var out []v2
	for block := range strings.SplitSeq(strings.TrimSpace(string(raw)), "\n\n") {
		m := v2{name: file}
		for line := range strings.SplitSeq(block, "\n") {
			switch {
			case strings.HasPrefix(line, "#"):
				m.name = strings.TrimSpace(line[1:])
			case strings.HasPrefix(line, ">"):
				words := strings.Fields(line[1:])
				m.answer, m.errs = words[0], words[1:]
			default:
				m.body = append(m.body, line+"\r"...)
			}
		}
		require.NotEmpty(t, m.answer, "%s: nothing is said of how it is answered", file)
		if bytes.Contains(m.body, []byte("8859/1$")) || bytes.Contains(m.body, []byte("8859/1\r")) {
			m.body = latin1(m.body)
		}
		out = append(out, m)
	}
	return out
}

func latin1(text []byte) []byte {
	var out []byte
	for _, r := range string(text) {
		out = append(out, byte(r))
	}
	return out
}

// v2Line is a connection of a sender.
type v2Line struct {
	net.Conn
	r *bufio.Reader
}

func v2Dial(t testing.TB, addr string) *v2Line {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	return &v2Line{conn, bufio.NewReader(conn)}
}

// put sends a message and waits for no answer.
func (l *v2Line) put(body []byte) error {
	_, err := l.Write(slices.Concat([]byte{0x0b}, body, []byte{0x1c, '\r'}))
	return err
}

// answer reads one.
func (l *v2Line) answer() (*hl7.Message, error) {
	raw, err := l.r.ReadBytes(0x1c)
	if err != nil {
		return nil, err
	}
	if end, err := l.r.ReadByte(); err != nil || end != '\r' || raw[0] != 0x0b {
		return nil, fmt.Errorf("the answer is in no frame: %q", raw)
	}
	return hl7.Parse(raw[1 : len(raw)-1])
}

func (l *v2Line) send(t testing.TB, body []byte) *hl7.Message {
	t.Helper()
	require.NoError(t, l.put(body))
	m, err := l.answer()
	require.NoError(t, err)
	return m
}

// require asks that the message is answered as the corpus says.
func (m *v2) require(t testing.TB, answer *hl7.Message) {
	t.Helper()
	require.Equal(t, m.answer, answer.All("MSA")[0].Value(1, 1), "%s\n%s", m.name, answer.Print())
	errs := []string{}
	for _, s := range answer.All("ERR") {
		at := s.Field(2).First()
		loc := hl7.Location{Segment: at.Value(1)}
		fmt.Sscan(at.Value(2), &loc.Number)
		fmt.Sscan(at.Value(3), &loc.Field)
		fmt.Sscan(at.Value(5), &loc.Component)
		place := loc.String()
		if place == "" {
			place = "-"
		}
		errs = append(errs, place+":"+s.Value(3, 1))
		require.Equal(t, map[string]string{"AA": "I", "AE": "E", "AR": "E"}[m.answer], s.Value(4, 1), "severity")
		require.NotEmpty(t, s.Value(8, 1))
	}
	require.Equal(t, m.errs, errs, "%s\n%s", m.name, answer.Print())
	require.NotContains(t, strings.ToLower(string(answer.Print())), "canar", "an answer holds nothing that was sent")
}

// fhirState is one state of a booking as a theatre system sends it over FHIR: the
// same as the corpus says, written down by hand.
type fhirState struct{ status, code, start, end string }

// fhirBooking is number n in a state.
func fhirBooking(n int, s fhirState) []byte {
	times, service := "", ""
	if s.start != "" {
		times = fmt.Sprintf(`"start":%q,"end":%q,`, s.start, s.end)
	}
	if s.code != "" {
		service = fmt.Sprintf(`"serviceType":[{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10-pcs","code":%q}]}],`, s.code)
	}
	return fmt.Appendf(nil, `{"resourceType":"Bundle","type":"transaction","entry":[
{"fullUrl":"urn:uuid:00000000-0000-4000-8000-%[1]012d","resource":{"resourceType":"Patient","identifier":[{"system":"https://registry.meadowfold.example/person","value":"P-%[1]d"}],"gender":"female","birthDate":"1951-03-02"},"request":{"method":"POST","url":"Patient","ifNoneExist":"identifier=https://registry.meadowfold.example/person|P-%[1]d"}},
{"resource":{"resourceType":"Appointment","identifier":[{"system":"https://theatre.meadowfold.example/appointment","value":"A-%[1]d"}],"status":%[2]q,%[3]s%[4]s"participant":[{"status":"accepted","actor":{"reference":"urn:uuid:00000000-0000-4000-8000-%[1]012d"}}]},
"request":{"method":"PUT","url":"Appointment?identifier=https://theatre.meadowfold.example/appointment|A-%[1]d"}}]}`, n, s.status, times, service)
}

const (
	leftKnee, rightKnee = "0SRD0J9", "0SRC0J9"
	first, firstEnd     = "2026-11-30T07:30:00-06:00", "2026-11-30T09:30:00-06:00"
	second, secondEnd   = "2026-12-07T10:00:00-06:00", "2026-12-07T12:00:00-06:00"
	third, thirdEnd     = "2026-12-14T10:00:00-06:00", "2026-12-14T12:00:00-06:00"
)

// v2Stories says what each story of the corpus would be over FHIR.
var v2Stories = []struct {
	file   string
	n      int
	states []fhirState
	plans  int
}{
	{"01-new.txt", 101, []fhirState{{"booked", leftKnee, first, firstEnd}}, 1},
	{"02-moved.txt", 102, []fhirState{{"booked", leftKnee, first, firstEnd}, {"booked", leftKnee, second, secondEnd}}, 1},
	{"03-changed.txt", 103, []fhirState{{"booked", leftKnee, first, firstEnd}, {"booked", rightKnee, first, firstEnd}}, 1},
	{"04-cancelled.txt", 104, []fhirState{{"booked", leftKnee, first, firstEnd}, {"cancelled", "", "", ""}}, 1},
	{"05-discontinued.txt", 105, []fhirState{{"booked", leftKnee, first, firstEnd}, {"cancelled", leftKnee, first, firstEnd}}, 1},
	{"06-deleted.txt", 106, []fhirState{{"booked", leftKnee, first, firstEnd}, {"cancelled", "", "", ""}}, 1},
	{"07-did-not-come.txt", 107, []fhirState{{"booked", leftKnee, first, firstEnd}, {"noshow", leftKnee, first, firstEnd}}, 1},
	{"08-wrong-order.txt", 108, []fhirState{{"booked", leftKnee, third, thirdEnd}}, 1},
	{"09-sent-again.txt", 109, []fhirState{{"booked", leftKnee, first, firstEnd}, {"booked", leftKnee, second, secondEnd}}, 1},
	{"10-repetitions-and-escapes.txt", 110, []fhirState{{"booked", leftKnee, first, firstEnd}}, 1},
	{"11-other-zone.txt", 111, []fhirState{{"booked", leftKnee, first, firstEnd}}, 1},
	{"12-old-version.txt", 112, []fhirState{{"booked", leftKnee, first, firstEnd}}, 1},
	{"13-cancelled-first.txt", 113, []fhirState{{"cancelled", "", "", ""}}, 0},
	{"14-another-operation.txt", 114, []fhirState{{"booked", "", first, firstEnd}}, 0},
	{"15-waiting.txt", 115, []fhirState{{"waitlist", leftKnee, "", ""}, {"pending", leftKnee, first, firstEnd}, {"booked", leftKnee, first, firstEnd}}, 1},
	{"16-number-given-later.txt", 116, []fhirState{{"booked", leftKnee, first, firstEnd}, {"booked", leftKnee, second, secondEnd}, {"booked", leftKnee, third, thirdEnd}}, 1},
}

// TestHL7Stories plays each story of the corpus over TCP, and the same bookings
// over FHIR to another service: the answers are as the corpus says, and the plans
// of both are the same.
func TestHL7Stories(t *testing.T) {
	over, with := started(t, hl7Settings(t)), started(t, settings(t))
	files, err := fs.Glob(testdata.FS, "hl7/[0-9]*.txt")
	require.NoError(t, err)
	require.Len(t, files, len(v2Stories), "each story is compared")
	line := v2Dial(t, over.HL7Addr())
	for _, s := range v2Stories {
		t.Run(s.file, func(t *testing.T) {
			for _, m := range v2Corpus(t, s.file) {
				m.require(t, line.send(t, m.body))
			}
			for _, state := range s.states {
				status, body := send(t, "POST", with.URL(), fhirBooking(s.n, state))
				require.Equal(t, 200, status, string(body))
			}
			got, want := plansOf(t, over, s.n), plansOf(t, with, s.n)
			require.Len(t, want, s.plans)
			require.Equal(t, want, got)
		})
	}
	before := versions(t, over)
	for _, m := range slices.Concat(v2Corpus(t, "09-sent-again.txt"), v2Corpus(t, "01-new.txt")) {
		answer := line.send(t, m.body)
		require.Equal(t, "AA", answer.All("MSA")[0].Value(1, 1))
	}
	require.Equal(t, before, versions(t, over), "what is sent again changes nothing")
}

// plansOf gives the plans of person n without ids and versions: what is planned,
// and what is asked for when.
func plansOf(t *testing.T, a *App, n int) []any {
	t.Helper()
	people := found(t, a, fmt.Sprintf("Patient?identifier=https://registry.meadowfold.example/person%%7CP-%d", n))
	require.Len(t, people, 1)
	var person struct{ ID string }
	require.NoError(t, json.Unmarshal(people[0], &person))
	var out []any
	for _, raw := range found(t, a, "CarePlan?patient="+person.ID) {
		var plan, whole map[string]any
		require.NoError(t, json.Unmarshal(raw, &whole))
		plan = map[string]any{"status": whole["status"], "period": whole["period"], "extension": whole["extension"]}
		var tasks []any
		for _, raw := range found(t, a, "Task?_count=200&patient="+person.ID) {
			var task map[string]any
			require.NoError(t, json.Unmarshal(raw, &task))
			for _, name := range []string{"id", "meta", "identifier", "for", "focus", "basedOn", "groupIdentifier", "reasonReference"} {
				delete(task, name)
			}
			tasks = append(tasks, task)
		}
		slices.SortFunc(tasks, func(a, b any) int { return strings.Compare(jsonText(t, a), jsonText(t, b)) })
		plan["tasks"] = tasks
		out = append(out, plan)
	}
	return out
}

func jsonText(t *testing.T, v any) string {
	t.Helper()
	raw, err := json.Marshal(v)
	require.NoError(t, err)
	return string(raw)
}

// TestHL7Refusals: each bad message of the corpus is answered with its places,
// changes nothing, is counted for its source, and leaves nothing of it in the log.
func TestHL7Refusals(t *testing.T) {
	cfg := hl7Settings(t)
	cfg.Feeds = "theatre=hl7v2:THEATRE/MEADOWFOLD"
	a := started(t, cfg)
	line := v2Dial(t, a.HL7Addr())
	before := versions(t, a)
	counts := map[string]int{}
	for _, m := range v2Corpus(t, "bad.txt") {
		t.Run(m.name, func(t *testing.T) { m.require(t, line.send(t, m.body)) })
		counts[m.answer]++
	}
	require.Equal(t, before, versions(t, a))
	_, metrics := send(t, "GET", a.AdminURL()+"/metrics", nil)
	for code, n := range counts {
		require.Contains(t, string(metrics), fmt.Sprintf("countback_hl7_answers_total{code=%q} %d\n", code, n))
	}
	require.Contains(t, string(metrics), `countback_feed_refused_total{feed="theatre"}`)
	require.Contains(t, string(metrics), "countback_hl7_connections 1\n")
	refused := regexpNumber(t, string(metrics), `countback_feed_refused_total\{feed="theatre"\} (\d+)`)
	others := regexpNumber(t, string(metrics), `countback_feed_refused_total\{feed="other"\} (\d+)`)
	require.Equal(t, counts["AE"]+counts["AR"], refused+others)
	require.Greater(t, refused, others)
}

func regexpNumber(t *testing.T, text, pattern string) int {
	t.Helper()
	parts := regexp.MustCompile(pattern).FindStringSubmatch(text)
	require.NotNil(t, parts, pattern)
	n, err := strconv.Atoi(parts[1])
	require.NoError(t, err)
	return n
}

// The message in the README is one that is taken, with the settings beside it.
func TestHL7Readme(t *testing.T) {
	readme, err := os.ReadFile("../../../../README.md")
	require.NoError(t, err)
	_, example, has := strings.Cut(string(readme), "## HL7 version 2\n")
	require.True(t, has)
	cfg := settings(t)
	cfg.Today, cfg.HL7Listen = "2026-11-20", "127.0.0.1:0"
	cfg.HL7System = regexp.MustCompile(`-hl7-system '([^']+)'`).FindStringSubmatch(example)[1]
	var body string
	for _, part := range regexp.MustCompile(`(?m)^ {6}'([A-Z]{3}[^']*)'`).FindAllStringSubmatch(example, -1) {
		body += part[1] + "\r"
	}
	require.Equal(t, 4, strings.Count(body, "\r"))
	a := started(t, cfg)
	answer := v2Dial(t, a.HL7Addr()).send(t, []byte(body))
	require.Equal(t, "AA", answer.All("MSA")[0].Value(1, 1), string(answer.Print()))
	require.Empty(t, answer.All("ERR"))
	require.Len(t, found(t, a, "CarePlan"), 1)
}

func TestHL7Settings(t *testing.T) {
	zone := time.UTC
	dir := t.TempDir()
	file := filepath.Join(dir, "systems")
	require.NoError(t, os.WriteFile(file, []byte("# numbering\n\nREG = https://registry.example/person\nTHEATRE NORTH=urn:oid:2.999\n@hl7v2:THEATRE/NORTH=America/Denver\n"), 0o600))
	for _, setting := range []string{file, "REG=https://registry.example/person, THEATRE NORTH=urn:oid:2.999,@hl7v2:THEATRE/NORTH=America/Denver,"} {
		o, err := (&Config{HL7System: setting}).hl7Options(zone)
		require.NoError(t, err)
		require.Equal(t, map[string]string{"REG": "https://registry.example/person", "THEATRE NORTH": "urn:oid:2.999"}, o.Systems)
		require.Equal(t, "America/Denver", o.Zones["hl7v2:THEATRE/NORTH"].String())
		require.Equal(t, zone, o.Zone)
	}
	for _, bad := range []string{filepath.Join(dir, "missing"), dir, "REG=person", "=https://a.example", "REG=", "REG=https://a.example|x", "REG=https://a.example,REG=https://b.example", "@X=Mars/Olympus", "@X=", "@X=UTC,@X=UTC"} {
		_, err := (&Config{HL7System: bad}).hl7Options(zone)
		require.ErrorContains(t, err, "-hl7-system", bad)
	}
	for _, addr := range []string{"0.0.0.0:2575", ":2575", "2575"} {
		cfg := settings(t)
		cfg.HL7Listen = addr
		require.ErrorContains(t, cfg.check(), "-hl7-listen", addr)
	}
	require.Empty(t, started(t, settings(t)).HL7Addr(), "off by default")
}
