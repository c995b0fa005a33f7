package fhir

import (
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// FuzzParse: Parse never panics; it returns a resource or issues, not both.
// What it accepts decodes, survives WithMeta with everything else unchanged,
// and parses again. What it refuses becomes an acceptable OperationOutcome.
func FuzzParse(f *testing.F) {
	for _, s := range []string{booked, small, patient, procedure, task, transaction, bundle("batch", `7`)} {
		f.Add([]byte(s))
	}
	for _, table := range [][]badInput{badSyntax, badElements, badValues, badRules} {
		for _, tc := range table {
			f.Add([]byte(tc.in))
		}
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		before := string(body)
		r, issues := Parse(body, 0)
		require.Equal(t, r == nil, issues != nil)
		if r == nil {
			out := issues.OperationOutcome()
			_, again := Parse(out, len(out))
			require.Nil(t, again, "%s", out)
			return
		}
		if r.entries == nil {
			require.NoError(t, r.Decode(reflect.New(resourceTypes[r.Type]).Interface()))
		}
		out := r.WithMeta("n1", "2", noon)
		require.Equal(t, before, string(body), "the input is not touched")
		after, issues := Parse(out, len(out))
		require.Nil(t, issues, "%s", out)
		requireSameButMeta(t, r, after)
		require.Equal(t, string(out), string(after.WithMeta("n1", "2", noon)))
		require.Equal(t, before, string(r.RewriteReferences(func(ref string) string { return ref })))
		if r.Type == "Bundle" {
			_, _ = r.Bundle(0)
		}
	})
}

// FuzzParseRef: a reference that is accepted reads the same when written again.
func FuzzParseRef(f *testing.F) {
	for _, s := range []string{"Patient/1", "Patient/1/_history/2", "Patient?a=b", "#x", "#", urn1, "urn:oid:1.2", ownBase + "/Task/1", "http://x.example/Task/1", "a:b", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		ref, err := ParseRef(s, ownBase)
		if err != nil {
			require.True(t, ref.IsZero())
			return
		}
		again, err := ParseRef(ref.String(), ownBase)
		require.NoError(t, err)
		require.Equal(t, ref, again)
		targets := 0
		for _, set := range []bool{ref.IsLocal(), ref.Query != "", ref.URN != "", ref.Contained != "", ref.Container, ref.Foreign != ""} {
			if set {
				targets++
			}
		}
		require.Equal(t, 1, targets)
	})
}

// FuzzDateTime: what is accepted keeps its text, is a real moment of the
// calendar, and covers a span that does not run backwards in any zone.
func FuzzDateTime(f *testing.F) {
	for _, s := range []string{"2026", "2026-11", "2026-11-30", "2026-11-30T07:30:00-06:00", "2026-11-30T07:30:00.123456789123Z", "2026-03-08T02:30", "9999-12-31", "2011-12-30", "2016-12-31T23:59:60Z"} {
		f.Add(s)
	}
	zones := []*time.Location{time.UTC, zone(f, "America/Chicago"), zone(f, "Pacific/Apia"), zone(f, "America/Havana"), zone(f, "America/St_Johns")}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseSearchDate(s)
		if _, strict := ParseDateTime(s); strict == nil {
			require.NoError(t, err, "a search value may be any dateTime")
		}
		if err != nil {
			require.True(t, d.IsZero())
			return
		}
		require.Equal(t, s, d.String())
		for _, loc := range zones {
			start, end := d.Interval(loc)
			require.False(t, end.Before(start))
			_, _, _, ok := d.Day(loc)
			require.Equal(t, d.Precision() >= Day, ok)
		}
		if at, ok := d.Instant(); ok {
			start, _ := d.Interval(time.UTC)
			require.True(t, at.Equal(start))
			again, err := ParseInstant(FormatInstant(at))
			if at.Year() >= 1 && at.Year() <= 9999 && d.offset%60 == 0 {
				require.NoError(t, err)
				back, _ := again.Instant()
				require.True(t, back.Equal(at.Truncate(time.Millisecond)))
			}
		}
	})
}
