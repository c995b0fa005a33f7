package translate

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// sentTask is a completed Task with outputs, each a code of ours and a value as JSON.
func sentTask(t *testing.T, more string, outputs ...string) *fhir.Resource {
	var list []string
	for n := 0; n < len(outputs); n += 2 {
		list = append(list, `{"type":{"coding":[{"system":"`+SystemOutput+`","code":"`+outputs[n]+`"}]},`+outputs[n+1]+`}`)
	}
	body := `{"resourceType":"Task","status":"completed","intent":"order"` + more
	if len(list) > 0 {
		body += `,"output":[` + strings.Join(list, ",") + `]`
	}
	r, issues := fhir.Parse([]byte(body+"}"), 1<<16)
	require.Empty(t, issues)
	return r
}

// What may be reported of a day of surgery, Mon 30 November 2026, on Thu 3 December
// at nine, and what is refused; and what is read of it.
func TestWhatMayBeReportedOfTheDay(t *testing.T) {
	f := chicago(t)
	o := WorkOptions{Today: date(t, "2026-12-03"), Now: f.clock(t, "2026-12-03 09:00")}
	at := func(clock string) string { return `"valueDateTime":"` + clock + `:00-06:00"` }
	on := func(day string) string { return `"valueDate":"` + day + `"` }
	const home = "-home"
	for _, r := range []struct {
		name    string
		key     string // empty: the day of surgery
		outputs []string
		refused string // code and a part of the text; empty: taken
		is      [3]string
	}{
		{"nothing", "", nil, "required Task.output is missing: say when", [3]string{}},
		{"something else", "", []string{OutputAgreed, `"valueBoolean":true`}, "required Task.output is missing: say when", [3]string{}},
		{"came and left", "", []string{OutputArrived, at("2026-11-30T06:00"), OutputWentHome, at("2026-12-01T11:00")}, "", [3]string{"2026-11-30 06:00", "2026-12-01 11:00"}},
		{"came", "", []string{OutputArrived, at("2026-11-30T06:00")}, "", [3]string{"2026-11-30 06:00", ""}},
		{"left, only the day", "", []string{OutputWentHome, on("2026-12-01")}, "", [3]string{"", "2026-12-01 12:00"}},
		{"a day as valueDateTime", "", []string{OutputWentHome, `"valueDateTime":"2026-12-01"`}, "", [3]string{"", "2026-12-01 12:00"}},
		{"on one day, and only the coming has an hour", "", []string{OutputArrived, at("2026-11-30T14:00"), OutputWentHome, on("2026-11-30")}, "", [3]string{"2026-11-30 14:00", "2026-11-30 14:00"}},
		{"on one day, and only the leaving has an hour", "", []string{OutputArrived, on("2026-11-30"), OutputWentHome, at("2026-11-30T10:00")}, "", [3]string{"2026-11-30 10:00", "2026-11-30 10:00"}},
		{"on two days without an hour", "", []string{OutputArrived, on("2026-11-30"), OutputWentHome, at("2026-12-01T10:00")}, "", [3]string{"2026-11-30 12:00", "2026-12-01 10:00"}},
		{"it did not take place", "", []string{OutputNotOperated, `"valueBoolean":true`}, "", [3]string{"", "", "not"}},
		{"it did, says a boolean alone", "", []string{OutputNotOperated, `"valueBoolean":false`}, "required Task.output is missing", [3]string{}},
		{"both", "", []string{OutputNotOperated, `"valueBoolean":true`, OutputArrived, on("2026-11-30")}, "business-rule Task.output says that the operation did not take place", [3]string{}},
		{"of the way home only the coming", home, []string{OutputArrived, on("2026-11-30")}, "required Task.output went-home is missing", [3]string{}},
		{"of the way home", home, []string{OutputWentHome, on("2026-11-30")}, "", [3]string{"", "2026-11-30 12:00"}},
		{"came twice", "", []string{OutputArrived, on("2026-11-30"), OutputArrived, on("2026-11-30")}, "business-rule Task.output arrived (when the person came) is there more than once", [3]string{}},
		{"left twice", "", []string{OutputWentHome, on("2026-11-30"), OutputWentHome, on("2026-11-30")}, "business-rule Task.output went-home (when they went home) is there more than once", [3]string{}},
		{"no day", "", []string{OutputArrived, `"valueDate":"2026-11"`}, "value Task.output arrived (when the person came) must name at least a day", [3]string{}},
		{"now", "", []string{OutputArrived, at("2026-12-03T09:00")}, "", [3]string{"2026-12-03 09:00", ""}},
		{"in a minute", "", []string{OutputArrived, at("2026-12-03T09:01")}, "business-rule Task.output arrived (when the person came) lies in the future", [3]string{}},
		{"today", "", []string{OutputWentHome, on("2026-12-03")}, "", [3]string{"", "2026-12-03 12:00"}},
		{"tomorrow", "", []string{OutputWentHome, on("2026-12-04")}, "business-rule Task.output went-home (when they went home) lies in the future", [3]string{}},
		{"the day before surgery", "", []string{OutputArrived, on("2026-11-29")}, "business-rule Task.output arrived (when the person came) lies before the day of surgery, Mon 30 Nov 2026", [3]string{}},
		{"left the day before surgery", "", []string{OutputWentHome, on("2026-11-29")}, "business-rule Task.output went-home (when they went home) lies before the day of surgery", [3]string{}},
		{"left on an earlier day than came", "", []string{OutputArrived, on("2026-12-01"), OutputWentHome, on("2026-11-30")}, "business-rule Task.output went-home lies before arrived", [3]string{}},
		{"left an hour before coming", "", []string{OutputArrived, at("2026-11-30T09:00"), OutputWentHome, at("2026-11-30T08:00")}, "business-rule Task.output went-home lies before arrived", [3]string{}},
		{"left at the hour of coming", "", []string{OutputArrived, at("2026-11-30T09:00"), OutputWentHome, at("2026-11-30T09:00")}, "", [3]string{"2026-11-30 09:00", "2026-11-30 09:00"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			sent := sentTask(t, "", r.outputs...)
			issues := f.happened(sent, &readiness.Item{Key: readiness.Key{Repeat: "2026-11-30" + r.key}}, o)
			if r.refused != "" {
				require.Len(t, issues, 1)
				require.Equal(t, "Task.output", issues[0].Expression)
				require.Contains(t, issues[0].Code+" "+issues[0].Text, r.refused)
				return
			}
			require.Empty(t, issues)
			words := func(at time.Time) string {
				if at.IsZero() {
					return ""
				}
				return at.In(f.Calendar.Zone()).Format("2006-01-02 15:04")
			}
			w := &Work{Outcome: readiness.Done, Output: sent.Bytes(sent.Get("output"))}
			h, ok := f.Happened(w)
			require.True(t, ok)
			not := ""
			if h.NotDone {
				not = "not"
			}
			require.Equal(t, r.is, [3]string{words(h.Came), words(h.Left), not})

			w.Outcome = readiness.Failed
			_, ok = f.Happened(w)
			require.False(t, ok, "only what was done counts")
		})
	}
	_, ok := f.Happened(nil)
	require.False(t, ok)
	_, ok = f.Happened(&Work{Outcome: readiness.Done})
	require.False(t, ok)
	_, ok = f.Happened(&Work{Outcome: readiness.Done, Output: []byte(`[{"type":{"text":"a note"},"valueString":"x"}]`)})
	require.False(t, ok)
}

// What a person reported is said with their name and day, beside what the records
// say, and which of both counts.
func TestWhoseWordItIs(t *testing.T) {
	f := chicago(t)
	came, left := f.clock(t, "2026-11-30 06:00"), f.clock(t, "2026-12-01 11:00")
	work := &Work{Owner: []byte(`{"display":"Nurse Fenwick"}`), On: "2026-12-03"}
	says := readiness.Happened{Came: came, Left: left}
	const told = "Nurse Fenwick reported on Thu 3 Dec 2026 "
	for _, r := range []struct {
		name   string
		w      *Work
		h      readiness.Happened
		change func(*Booking)
		told   string
		not    bool
	}{
		{"no record", work, says, nil, told + "that the person came on Mon 30 Nov 2026, 06:00 and went home on Tue 1 Dec 2026, 11:00; no record has said so.", false},
		{"the writer of the last note", &Work{Note: []byte(`[{"authorString":"A Clerk","text":"x"},{"authorString":"B Clerk","text":"y"},{"text":"z"}]`), On: "2026-12-03"}, says, nil,
			"B Clerk reported on Thu 3 Dec 2026 that", false},
		{"nobody is named", &Work{On: "2026-12-03"}, says, nil, "A person reported on Thu 3 Dec 2026 that", false},
		{"the record has another day", work, says, func(b *Booking) { b.Case.Left = f.clock(t, "2026-12-02 11:00") },
			told + "that the person went home on Tue 1 Dec 2026, and the record says Wed 2 Dec 2026. The record counts: find out which is right, and have it corrected there or here.", false},
		{"called off", work, says, func(b *Booking) { b.Case.Ending = readiness.Cancelled },
			"went home on Tue 1 Dec 2026, 11:00, and the booking says that it was called off: find out which is right, and have it corrected there or here.", false},
		{"it did not take place", work, readiness.Happened{NotDone: true}, nil,
			told + "that the operation of Mon 30 Nov 2026 did not take place, and the booking still has that day: have it corrected there, with the new day or as called off.", true},
		{"what was said before stays", work, says, func(b *Booking) { b.Told = "Before." }, "Before. " + told, false},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := &Booking{Case: readiness.Case{Day: date(t, "2026-11-30"), Start: f.clock(t, "2026-11-30 07:30")}}
			if r.change != nil {
				r.change(b)
			}
			b.Report(r.h, r.w, f)
			require.Contains(t, b.Told, r.told)
			require.Equal(t, r.not, b.notDone != "")
		})
	}
	other := func(day string, h readiness.Happened) string {
		b := &Booking{}
		if day != "" {
			b.Case.Day = date(t, day)
		}
		b.ReportOther(h, work, date(t, "2026-11-30"), f)
		return b.Told
	}
	require.Equal(t, told+"of the operation of Mon 30 Nov 2026 that the person came on Mon 30 Nov 2026, 06:00 and went home on Tue 1 Dec 2026, 11:00, and the booking now says Mon 14 Dec 2026: find out which is right, and have it corrected there or here.", other("2026-12-14", says))
	require.Contains(t, other("", says), ", and the booking has no day now: find out")
	require.Empty(t, other("2026-12-14", readiness.Happened{NotDone: true}), "and it was moved")
}

// A second person says once whether they agree, why not, and is not who signed.
func TestWhatASecondPersonSays(t *testing.T) {
	f := chicago(t)
	look := &readiness.Item{Step: &readiness.Step{Trigger: readiness.TriggerLateSigned}}
	const yes, no = `"valueBoolean":true`, `"valueBoolean":false`
	const second, why = `,"owner":{"display":"Dr Second Reader"}`, `,"statusReason":{"text":"Bleeds"}`
	for _, r := range []struct {
		name    string
		more    string
		outputs []string
		refused string
		is      [2]string
	}{
		{"nothing", second, nil, "output required Task.output is missing", [2]string{}},
		{"no value", second, []string{OutputAgreed, `"valueString":"yes"`}, "output required Task.output is missing", [2]string{}},
		{"another output", second, []string{OutputLastDose, yes}, "output required Task.output is missing", [2]string{}},
		{"agreed", second, []string{OutputAgreed, yes}, "", [2]string{string(readiness.Agreed), ""}},
		{"agreed, with a reason", second + why, []string{OutputAgreed, yes}, "", [2]string{string(readiness.Agreed), "Bleeds"}},
		{"agreed twice", second, []string{OutputAgreed, yes, OutputAgreed, yes}, "", [2]string{string(readiness.Agreed), ""}},
		{"agreed and not", second + why, []string{OutputAgreed, yes, OutputAgreed, no}, "output business-rule Task.output contradicts itself", [2]string{}},
		{"not agreed, without a reason", second, []string{OutputAgreed, no}, "statusReason.text required Task.statusReason.text is missing", [2]string{}},
		{"not agreed", second + why, []string{OutputAgreed, no}, "", [2]string{string(readiness.NotAgreed), "Bleeds"}},
		{"the signer", `,"owner":{"display":"Signer, First"}`, []string{OutputAgreed, yes}, "owner business-rule Task.owner is, or may be, whoever signed", [2]string{}},
		{"nobody who can be told apart", `,"owner":{"reference":"Practitioner/2"}`, []string{OutputAgreed, yes}, "owner business-rule Task.owner cannot be told apart", [2]string{}},
	} {
		t.Run(r.name, func(t *testing.T) {
			w := &Work{}
			issues := f.looks(w, sentTask(t, r.more, r.outputs...), look, WorkOptions{Signer: []byte(`{"display":"Dr First Signer"}`)})
			if r.refused != "" {
				require.Len(t, issues, 1)
				require.Contains(t, strings.TrimPrefix(issues[0].Expression, "Task.")+" "+issues[0].Code+" "+issues[0].Text, r.refused)
				require.Empty(t, w.Look)
				return
			}
			require.Empty(t, issues)
			require.Equal(t, r.is, [2]string{w.Look, w.Reason})
		})
	}
	w := &Work{}
	require.Empty(t, f.looks(w, sentTask(t, ""), &readiness.Item{Step: &readiness.Step{}}, WorkOptions{}), "it is no such step")
	require.Empty(t, w.Look)
}
