package hl7

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const sample = "MSH|^~\\&|THEATRE|MEADOWFOLD|COUNTBACK|MEADOWFOLD|20261005101500-0500||SIU^S12^SIU_S12|7|P|2.5.1\r" +
	"SCH|P-1^PLAN|F-1^THEATRE^2.999.1^ISO\r" +
	"PID|1||A1^^^REG&2.999.7&ISO^MR~A2^^^OTHER||Fern\\T\\whistle^Odaline\r" +
	"AIS|1||609588000^Knee\\.br\\left \\H\\now\\N\\^SCT\r" +
	"AIS|2|D|x\r"

func parsed(t *testing.T, text string) *Message {
	t.Helper()
	m, err := Parse([]byte(text))
	require.NoError(t, err)
	return m
}

func TestParse(t *testing.T) {
	for name, end := range map[string]string{"CR": "\r", "LF": "\n", "CRLF": "\r\n", "blank lines": "\r\n\r\n"} {
		t.Run(name, func(t *testing.T) {
			m := parsed(t, strings.ReplaceAll(sample, "\r", end))
			h := m.Header()
			require.Equal(t, "|", h.Value(1, 1))
			require.Equal(t, `^~\&`, h.Value(2, 1))
			require.Equal(t, "THEATRE", h.Value(3, 1))
			require.Equal(t, "S12", h.Value(9, 2))
			require.Equal(t, "2.5.1", h.Value(12, 1))
			require.Empty(t, h.Value(18, 1))
			pid := m.All("PID")[0]
			require.Equal(t, "2.999.7", pid.Field(3)[0].Sub(4, 2))
			require.Equal(t, "A2", pid.Field(3)[1].Value(1))
			require.Equal(t, "Fern&whistle", pid.Value(5, 1))
			services := m.All("AIS")
			require.Equal(t, "Knee\nleft now", services[0].Value(3, 2))
			require.Equal(t, Location{Segment: "AIS", Number: 2, Field: 2}, services[1].At(2))
			require.Equal(t, "AIS[2]-2", services[1].At(2).String())
			require.Empty(t, m.All("ZZZ"))
			require.Equal(t, sample[:strings.Index(sample, "\r")+1], string(m.Print())[:strings.Index(sample, "\r")+1])
		})
	}
}

// Other separators than the usual ones count, and what they escape.
func TestParseSeparators(t *testing.T) {
	m := parsed(t, "MSH$%*!@#$A$\rPID$1!F!2$x%y@z*w!S!!R!!E!!T!!P!$50!$!X41C3A9!$!Zoo!$!C1!\"\"!$\"\"\r")
	pid := m.All("PID")[0]
	for field, want := range map[int]string{1: "1$2", 3: "50!", 4: "Aé", 5: "!Zoo!", 6: `!C1!""!`, 7: ""} {
		require.Equal(t, want, pid.Value(field, 1), "field %d", field)
	}
	require.Equal(t, "z", pid.Field(2)[0].Sub(2, 2))
	require.Equal(t, "w%*!@#", pid.Field(2)[1].Value(1))
	require.True(t, pid.Field(7).First().Empty())
	require.False(t, pid.Field(1).First().Empty())
}

func TestParseCharset(t *testing.T) {
	head := "MSH|^~\\&|||||||||||||||"
	m := parsed(t, head+"|8859/1\rPID|B\xf6rje\\XE9\\\r")
	require.Equal(t, "Börjeé", m.All("PID")[0].Value(1, 1))
	require.Equal(t, head+"|8859/1\rPID|B\xf6rje\xe9\r", string(m.Print()))
	require.Equal(t, "Börje", parsed(t, head+"|UNICODE UTF-8\rPID|Börje\r").All("PID")[0].Value(1, 1))
}

// What is refused names its place, and nothing of what was sent.
func TestParseFaults(t *testing.T) {
	const head = "MSH|^~\\&|||||||||||||||"
	for _, c := range []struct {
		name, in, at string
		code         int
		readable     bool // the header
	}{
		{"nothing", "", "", CodeSequence, false},
		{"another beginning", "PID|1\rMSH|^~\\&|\r", "", CodeSequence, false},
		{"a batch", "FHS|^~\\&|canary\rMSH|^~\\&|\r", "", CodeSequence, false},
		{"too few separators", "MSH|^~\\|canary\r", "MSH-2", CodeDataType, false},
		{"a separator twice", "MSH|^~^&|canary\r", "MSH-2", CodeDataType, false},
		{"a letter as separator", "MSHa^~\\&acanary\r", "MSH-2", CodeDataType, false},
		{"no name", head + "\rPID|1\rcanary canary\r", "", CodeSequence, true},
		{"a small name", head + "\rpid|canary\r", "", CodeSequence, true},
		{"no separator after the name", head + "\rPIDcanary\r", "", CodeSequence, true},
		{"two messages", head + "\rPID|1\r" + head + "\r", "MSH[2]", CodeSequence, true},
		{"an unknown character set", head + "|canary\r", "MSH-18", CodeTable, false},
		{"not in UTF-8", head + "\rNTE|1\rNTE|1||canary \xf6\r", "NTE[2]-3", CodeDataType, true},
		{"an escape that is not in UTF-8", head + "\rNTE|canary\\XF6\\\r", "NTE-1", CodeDataType, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, err := Parse([]byte(c.in))
			var f Fault
			require.ErrorAs(t, err, &f)
			require.Equal(t, c.at, f.At.String())
			require.Equal(t, c.code, f.Code)
			require.NotContains(t, err.Error(), "canary")
			require.Equal(t, c.readable, m.Header() != nil)
		})
	}
}

func TestParseTime(t *testing.T) {
	chicago, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	kolkata, err := time.LoadLocation("Asia/Kolkata")
	require.NoError(t, err)
	for _, c := range []struct {
		name, in string
		zone     *time.Location
		want     string
		digits   int
		zoned    bool
		twice    bool
	}{
		{"in summer", "20260703073000", chicago, "2026-07-03T07:30:00-05:00", 14, false, false},
		{"in winter", "202611300730", chicago, "2026-11-30T07:30:00-06:00", 12, false, false},
		{"with an offset", "20261130073000.25+0530", chicago, "2026-11-30T07:30:00.25+05:30", 14, true, false},
		{"a zone east of Greenwich", "20261130073000", kolkata, "2026-11-30T07:30:00+05:30", 14, false, false},
		{"UTC", "20261130073000-0000", chicago, "2026-11-30T07:30:00Z", 14, true, false},
		{"a day", "19580317", chicago, "1958-03-17T00:00:00-06:00", 8, false, false},
		{"a year", "1958", chicago, "1958-01-01T00:00:00-06:00", 4, false, false},
		{"an hour", "2026113007", chicago, "2026-11-30T07:00:00-06:00", 10, false, false},
		{"leapt over by the clocks", "20260308023000", chicago, "2026-03-08T03:00:00-05:00", 14, false, false},
		{"shown twice", "20261101013000", chicago, "2026-11-01T01:30:00-05:00", 14, false, true},
		{"shown twice, and told which", "20261101013000-0600", chicago, "2026-11-01T01:30:00-06:00", 14, true, false},
		{"after the second time", "20261101020000", chicago, "2026-11-01T02:00:00-06:00", 14, false, false},
		{"before the first time", "20261101005959", chicago, "2026-11-01T00:59:59-05:00", 14, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, ok := ParseTime(c.in, c.zone)
			require.True(t, ok)
			require.Equal(t, c.want, got.At.Format(time.RFC3339Nano))
			require.Equal(t, Time{At: got.At, Digits: c.digits, Zoned: c.zoned, Twice: c.twice}, got)
		})
	}
	for _, bad := range []string{"", "2026113", "20261301", "20260230", "202611302500", "20261130073060", "2026-11-30", "20261130073000+25", "20261130073000+2500", "20261130073000.", "today"} {
		_, ok := ParseTime(bad, chicago)
		require.False(t, ok, bad)
	}
}

func TestAck(t *testing.T) {
	now := time.Date(2026, 10, 5, 10, 15, 1, 0, time.FixedZone("", -5*3600))
	m := parsed(t, sample)
	require.Equal(t, "MSH|^~\\&|COUNTBACK|MEADOWFOLD|THEATRE|MEADOWFOLD|20261005101501-0500||ACK^S12^ACK|a1|P|2.5.1\rMSA|AA|7\r",
		string(Ack{Code: Accept, ID: "a1", Now: now}.Print(m)))
	full := Ack{Code: Error, ID: "a1", Now: now, Faults: []Fault{
		{At: Location{Segment: "PID", Number: 1, Field: 3, Repetition: 2, Component: 4}, Code: CodeTable, Text: "names a|b"},
		{At: Location{Segment: "SCH", Number: 1, Field: 11}, Code: CodeRequired, Severity: "W"},
		{At: Location{Segment: "SCH", Number: 1, Field: 11, Component: 4}, Code: CodeRequired, Severity: "I"},
		{Code: CodeApplication},
	}}
	require.Equal(t, "MSH|^~\\&|COUNTBACK|MEADOWFOLD|THEATRE|MEADOWFOLD|20261005101501-0500||ACK^S12^ACK|a1|P|2.5.1\rMSA|AE|7\r"+
		"ERR||PID^1^3^2^4|103^Table value not found^HL70357|E||||names a\\F\\b\r"+
		"ERR||SCH^1^11|101^Required field missing^HL70357|W||||\r"+
		"ERR||SCH^1^11^^4|101^Required field missing^HL70357|I||||\r"+
		"ERR|||207^Application error^HL70357|E||||\r", string(full.Print(m)))
	require.Equal(t, "MSH|^~\\&|||||20261005101501-0500||ACK|a1|P|2.5.1\rMSA|AR|\r", string(Ack{Code: Reject, ID: "a1", Now: now}.Print(nil)))
	answer := parsed(t, string(full.Print(parsed(t, "MSH$%*!@$A$B$C$D$20261005$$SIU%S15$x!F!y$P$2.3$$$$$$8859/1\r"))))
	require.Equal(t, "x$y", answer.All("MSA")[0].Value(2, 1), "in the sender's own separators")
	require.Equal(t, "8859/1", answer.Header().Value(18, 1))
	require.Equal(t, "3", answer.All("ERR")[0].Value(2, 3))
	require.NotContains(t, string(full.Print(m)), "Fern")
}
