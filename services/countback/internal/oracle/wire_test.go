package oracle

import (
	"encoding/json"
	"fmt"
	"strings"
)

// The default protocol is read here once more, from its published JSON and the
// descriptions of the extensions, so that the reading is compared as well.

type quantity struct {
	Value int    `json:"value"`
	Code  string `json:"code"`
}

type extension struct {
	URL       string      `json:"url"`
	Extension []extension `json:"extension"`
	Code      string      `json:"valueCode"`
	ID        string      `json:"valueId"`
	Time      string      `json:"valueTime"`
	Bool      bool        `json:"valueBoolean"`
	Duration  *quantity   `json:"valueDuration"`
}

type relatedAction struct {
	Extension    []extension `json:"extension"`
	ActionID     string      `json:"actionId"`
	Relationship string      `json:"relationship"`
	Duration     *quantity   `json:"offsetDuration"`
	Range        *struct {
		Low, High *quantity
	} `json:"offsetRange"`
}

type action struct {
	ID        string      `json:"id"`
	Extension []extension `json:"extension"`
	Condition []struct {
		Expression struct {
			Expression string `json:"expression"`
		} `json:"expression"`
	} `json:"condition"`
	Related          []relatedAction `json:"relatedAction"`
	RequiredBehavior string          `json:"requiredBehavior"`
	Trigger          []struct {
		Name string `json:"name"`
	} `json:"trigger"`
	Participant []struct {
		Type string `json:"type"`
	} `json:"participant"`
}

// part finds an extension by the last word of its url; one without anything if
// there is none.
func part(list []extension, name string) extension {
	for _, e := range list {
		if e.URL == name || strings.HasSuffix(e.URL, "/"+name) {
			return e
		}
	}
	return extension{}
}

func readRules(body []byte) (Rules, error) {
	var plan struct {
		Extension []extension `json:"extension"`
		Action    []action    `json:"action"`
	}
	if err := json.Unmarshal(body, &plan); err != nil {
		return Rules{}, err
	}
	rules := Rules{WarningDays: part(plan.Extension, "due-warning").Duration.Value}
	for _, a := range plan.Action {
		switch a.ID {
		case Discharge:
			for _, e := range a.Extension {
				if strings.HasSuffix(e.URL, "/expected-discharge") {
					rules.Stays = append(rules.Stays, Stay{
						Code: part(e.Extension, "stay").Code, Days: part(e.Extension, "days").Duration.Value,
						At: *clockOf(part(e.Extension, "time").Time), Default: part(e.Extension, "default").Bool,
					})
				}
			}
		case Booking, Surgery, Raised, FirstPaused, LastDose, EarliestDose:
		default:
			rules.Steps = append(rules.Steps, readStep(a))
		}
	}
	return rules, nil
}

func clockOf(text string) *Clock {
	if text == "" {
		return nil
	}
	var c Clock
	var second int
	if _, err := fmt.Sscanf(text, "%d:%d:%d", &c.Hour, &c.Minute, &second); err != nil {
		panic(err)
	}
	return &c
}

func readStep(a action) Step {
	s := Step{
		Code: a.ID, Fixed: part(a.Extension, "fixed").Bool, Pauses: part(a.Extension, "on-hold").Code == "pause",
		Outlives:      part(a.Extension, "outlives-case").Bool,
		OpensEarliest: part(a.Extension, "opens-earliest").Bool, Repeat: part(a.Extension, "repeat-for").Code,
		When: Condition{Op: "always"}, Staff: true,
	}
	switch a.RequiredBehavior {
	case "must":
		s.Need = Must
		if part(a.Extension, "must-before").Code == "leaving" {
			s.Need = MustBeforeLeaving
		}
	case "must-unless-documented":
		s.Need = Should
	case "could":
		s.Need = Could
	}
	for _, who := range a.Participant {
		s.Staff = s.Staff && who.Type == "practitioner"
	}
	for n, c := range a.Condition {
		when := parseCondition(c.Expression.Expression)
		if n > 0 {
			when = Condition{Op: "and", Parts: []Condition{s.When, when}}
		}
		s.When = when
	}
	for _, t := range a.Trigger {
		s.Trigger = t.Name
	}
	if last := part(a.Extension, "last-day"); last.URL != "" {
		p := wirePoint(part(last.Extension, "actionId").ID, part(last.Extension, "relationship").Code,
			part(last.Extension, "offset").Duration, part(last.Extension, "business-days").Bool)
		s.Last = &p
	}
	for _, r := range a.Related {
		addRelated(&s, r)
	}
	readExpiry(&s, part(a.Extension, "evidence-expiry"))
	return s
}

// addRelated reads a window. The nearer end of a range before something is the
// due, after something the opening. A single distance before something is the
// due, after something the opening; none is no distance.
func addRelated(s *Step, r relatedAction) {
	business := part(r.Extension, "business-days").Bool
	times := part(r.Extension, "time-of-day").Extension
	before := strings.HasPrefix(r.Relationship, "before")
	opens, due := r.Duration, r.Duration
	if r.Range != nil {
		opens, due = r.Range.Low, r.Range.High
		if before {
			opens, due = due, opens
		}
	}
	if r.Range != nil && opens != nil || r.Range == nil && !before {
		p := wirePoint(r.ActionID, r.Relationship, opens, business)
		p.At = clockOf(part(times, "from").Time)
		s.Opens = append(s.Opens, p)
	}
	if r.Range != nil && due != nil || r.Range == nil && before {
		p := wirePoint(r.ActionID, r.Relationship, due, business)
		p.At = clockOf(part(times, "to").Time)
		s.Due = append(s.Due, p)
	}
}

func wirePoint(from, relationship string, offset *quantity, business bool) Point {
	p := Point{From: from, Unit: Days}
	if offset == nil {
		return p
	}
	p.N = offset.Value
	if strings.HasPrefix(relationship, "before") {
		p.N = -p.N
	}
	switch offset.Code {
	case "d":
		if business {
			p.Unit = BusinessDays
		}
	case "wk":
		p.Unit = Weeks
	case "mo":
		p.Unit = Months
	case "h":
		p.Unit = Hours
	case "min":
		p.Unit = Minutes
	default:
		panic("unit not understood: " + offset.Code)
	}
	return p
}

func readExpiry(s *Step, e extension) {
	s.Expiry.Kind = map[string]string{
		"never": "never", "days": "days", "this-date": "this date", "own-end-date": "end date",
	}[part(e.Extension, "kind").Code]
	if age := part(e.Extension, "days").Duration; age != nil {
		s.Expiry.Days = age.Value
	}
	for _, v := range e.Extension {
		if v.URL == "voidedBy" {
			s.Expiry.VoidedBy = append(s.Expiry.VoidedBy, v.Code)
		}
	}
}
