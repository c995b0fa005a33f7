package translate

import (
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
)

// Sheet is a plan as a person reads it, taken from its CarePlan and Tasks.
type Sheet struct {
	Headline, State, Notice string
	Lines                   []SheetLine
}

// SheetLine is one item of a sheet.
type SheetLine struct {
	TaskID, Step, Who, Opens, Due, Last, State, Remark, Rule string

	DueDay calendar.Date
	DueAt  time.Time // for a clock point
	Asked  bool      // it is, or will be, asked of someone
}

// Sheet reads a plan back from what is served, so that what is printed is what
// a client would get.
func (f Facility) Sheet(carePlan []byte, tasks [][]byte) (Sheet, error) {
	c, issues := fhir.Parse(carePlan, len(carePlan)+1)
	if len(issues) > 0 {
		return Sheet{}, issues
	}
	s := Sheet{Notice: c.String("description")}
	paragraphs := strings.Split(c.String("text", "div"), "</p>")
	s.Headline = plainText(paragraphs[0])
	var state []string
	for _, p := range paragraphs[1 : len(paragraphs)-2] {
		state = append(state, plainText(p))
	}
	s.State = strings.Join(state, "\n")
	for _, body := range tasks {
		t, issues := fhir.Parse(body, len(body)+1)
		if len(issues) > 0 {
			return s, issues
		}
		s.Lines = append(s.Lines, f.sheetLine(t))
	}
	return s, nil
}

func (f Facility) sheetLine(t *fhir.Resource) SheetLine {
	l := SheetLine{
		TaskID: t.ID(), Step: t.String("code", "coding", "display"),
		Who:   t.String("performerType", "coding", "display"),
		State: t.String("businessStatus", "coding", "code"),
		Rule:  text(t.Root(), "rule"),
	}
	opens, due := f.moment(t.String("restriction", "period", "start")), f.moment(t.String("restriction", "period", "end"))
	last := f.moment(text(t.Root(), "last-day-at"))
	for _, m := range []struct {
		into *string
		at   interface{ IsZero() bool }
		say  string
	}{{&l.Opens, opens, opens.Words()}, {&l.Due, due, due.Words()}, {&l.Last, last, last.Words()}} {
		if !m.at.IsZero() {
			*m.into = m.say
		}
	}
	l.DueDay, l.DueAt = due.Day, due.At
	var remarks []string
	if value(extension(t.Root(), "compressed")).Bool() {
		remarks = append(remarks, "as soon as possible")
	}
	if by := f.moment(text(t.Root(), "leave-time-by")); !by.IsZero() {
		remarks = append(remarks, "by "+by.Words()+", to leave time for what follows")
	}
	needs := extensions(t.Root(), "unknown-because")
	if advice := extension(t.Root(), "medicine-advice"); advice != nil { // tells what is needed, too
		remarks = append(remarks, value(advice).Text())
	} else {
		for _, e := range needs {
			remarks = append(remarks, "needs to know "+value(e).Text())
		}
	}
	l.Remark = strings.Join(remarks, "; ")
	switch t.String("status") {
	case "draft", "requested", "received", "accepted", "in-progress", "ready", "on-hold":
		l.Asked = len(needs) == 0
	}
	return l
}

// plainText strips the tags and entities of our own narrative.
func plainText(s string) string {
	var b strings.Builder
	tag := false
	for _, r := range s {
		switch {
		case r == '<':
			tag = true
		case r == '>':
			tag = false
		case !tag:
			b.WriteRune(r)
		}
	}
	return strings.NewReplacer("&lt;", "<", "&gt;", ">", "&#34;", `"`, "&#39;", "'", "&amp;", "&").Replace(b.String())
}
