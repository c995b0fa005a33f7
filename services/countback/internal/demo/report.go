package demo

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"sort"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/countback/pkg/fhir"
)

// extensionBase is where the service documents its extensions.
const extensionBase = "http://countback.example/fhir/StructureDefinition/"

// line is one case of the report.
type line struct {
	person, state, day string
	plan               resource
	tasks              []resource
	why                []string
}

// report prints what was planned, whom to call today, and what was published.
func (p *player) report(ctx context.Context, all []*story) error {
	var cases []line
	var kept []*story
	for _, s := range all {
		plans, err := p.plansOf(ctx, s)
		if err != nil {
			return err
		}
		if len(plans) == 0 {
			kept = append(kept, s)
		}
		for _, plan := range plans {
			l := line{person: s.Person, plan: plan, state: extension(plan.node.Root(), "readiness-state").String("valueCodeableConcept", "coding", "code")}
			for _, e := range plan.node.Get("extension").Items() {
				if e.String("url") == extensionBase+"why" {
					l.why = append(l.why, e.String("valueString"))
				}
			}
			if l.day = extension(plan.node.Root(), "surgery-date").String("valueDate"); l.day == "" {
				l.day = "no date"
			}
			l.tasks, err = p.search(ctx, "Task", url.Values{"group-identifier": {caseIdentifier(plan)}})
			if err != nil {
				return err
			}
			cases = append(cases, l)
		}
	}
	sort.SliceStable(cases, func(i, j int) bool { return cases[i].day < cases[j].day })
	fmt.Fprintf(p.Out, "The clock stands at %s. Everyone and everything below is invented.\n", p.Today.Format("Mon 2 Jan 2006 15:04 MST"))
	p.printCases(cases)
	if err := p.printMoved(ctx, cases); err != nil {
		return err
	}
	p.printHeld(cases)
	p.printMedicines(cases)
	p.printCalls(cases)
	if len(kept) > 0 {
		fmt.Fprintf(p.Out, "\nKEPT, BUT NO CASE OPENED\n")
		for _, s := range kept {
			fmt.Fprintf(p.Out, "  %s: %s.\n", s.Person, s.kept)
		}
	}
	return p.printEvents(ctx)
}

func (p *player) printCases(cases []line) {
	fmt.Fprintf(p.Out, "\nCASES\n")
	w := tabwriter.NewWriter(p.Out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  surgery\tperson\tstate\tdone\task for now\tlate\tto find out")
	for _, c := range cases {
		n := map[string]int{}
		for _, t := range c.tasks {
			state := businessStatus(t)
			switch {
			case extension(t.node.Root(), "unknown-because").Exists() && state == "upcoming":
				n["doubt"]++
			default:
				n[state]++
			}
		}
		fmt.Fprintf(w, "  %s\t%s\t%s\t%d\t%d\t%d\t%d\n", c.day, c.person, c.state, n["done"], n["open"]+n["due"], n["late"], n["doubt"])
	}
	w.Flush()
	fmt.Fprintln(p.Out, "  To find out are steps that may not apply to the person: somebody must find out first.")
}

func (p *player) printHeld(cases []line) {
	fmt.Fprintf(p.Out, "\nHELD, OR IN DANGER\n")
	any := false
	for _, c := range cases {
		if c.state != "held" && c.state != "infeasible" && c.state != "behind" && len(c.why) == 0 {
			continue
		}
		if c.state == "cancelled" {
			continue
		}
		any = true
		fmt.Fprintf(p.Out, "  %s (%s): %s\n", c.person, c.state, strings.Join(append(c.why, lateMusts(c)...), " "))
	}
	if !any {
		fmt.Fprintln(p.Out, "  nobody")
	}
}

// lateMusts names the late steps of a case that has no reasons of its own.
func lateMusts(c line) []string {
	if c.state != "behind" {
		return nil
	}
	var out []string
	for _, t := range c.tasks {
		if businessStatus(t) == "late" {
			out = append(out, t.node.String("code", "coding", "display"))
		}
	}
	return []string{"late: " + strings.Join(out, "; ") + "."}
}

// near is the day that the calls of a case are sorted by: of surgery, or one that
// the person still goes by and that is nearer.
func (c *line) near() string {
	day := c.day
	for _, t := range c.tasks {
		if told := goesBy(t); told != "" && (told < day || c.state == "cancelled") {
			day = told
		}
	}
	return day
}

// goesBy is the day that a Task says the person was told so far, while somebody
// has to tell them of another; empty: it says none.
func goesBy(t resource) string {
	if !slices.Contains([]string{"open", "due", "late"}, businessStatus(t)) {
		return ""
	}
	for _, e := range t.node.Get("extension").Items() {
		says, about := strings.CutPrefix(e.String("valueString"), "So far the person was told ")
		if says, _, _ = strings.Cut(says, ";"); about && e.String("url") == extensionBase+"why" {
			if day, err := time.Parse("Mon 2 Jan 2006", says); err == nil {
				return day.Format(time.DateOnly)
			}
		}
	}
	return ""
}

// printCalls lists what the protocol marks as a call and what is asked for now, by
// the day of surgery, or the one that the person still goes by.
func (p *player) printCalls(cases []line) {
	fmt.Fprintf(p.Out, "\nTO CALL TODAY\n")
	w := tabwriter.NewWriter(p.Out, 2, 0, 2, ' ', 0)
	today := p.Today.Format(time.DateOnly)
	for _, c := range cases { // before all whoever reported what cannot wait
		for _, t := range c.tasks {
			if state := businessStatus(t); isNow(t) && (state == "open" || state == "due" || state == "late") {
				fmt.Fprintf(w, "  %s\t%s\t%s\tsurgery %s\n", c.person, t.node.String("code", "coding", "display"), state, c.day)
			}
		}
	}
	slices.SortStableFunc(cases, func(a, b line) int { return strings.Compare(a.near(), b.near()) })
	for _, c := range cases {
		slices.SortStableFunc(c.tasks, func(a, b resource) int { return len(goesBy(b)) - len(goesBy(a)) }) // those that have one first
		for _, t := range c.tasks {
			state := businessStatus(t)
			dueToday := strings.HasPrefix(t.node.String("restriction", "period", "end"), today)
			told := goesBy(t)
			if !isCall(t) || isNow(t) || state != "due" && state != "late" && (state != "open" || !dueToday && told == "") {
				continue
			}
			surgery := "surgery " + c.day
			if c.state == "cancelled" {
				surgery = "called off"
			}
			if told != "" {
				surgery += ", still goes by " + told
			}
			fmt.Fprintf(w, "  %s\t%s\t%s\t%s\n", c.person, t.node.String("code", "coding", "display"), state, surgery)
		}
	}
	w.Flush()
}

func (p *player) printEvents(ctx context.Context) error {
	counts, err := p.Published(ctx)
	if err != nil {
		return err
	}
	names := make([]string, 0, len(counts))
	total := uint64(0)
	for name, n := range counts {
		names = append(names, name)
		total += n
	}
	sort.Strings(names)
	fmt.Fprintf(p.Out, "\nPUBLISHED: %d events\n ", total)
	for _, name := range names {
		fmt.Fprintf(p.Out, " %s %d", name, counts[name])
	}
	fmt.Fprintln(p.Out)
	return nil
}

func businessStatus(t resource) string {
	return t.node.String("businessStatus", "coding", "code")
}

// isNow reports whether the Task cannot wait for another.
func isNow(t resource) bool { return t.node.String("priority") == "stat" }

// isCall reports whether the protocol marks the Task's step as a call.
func isCall(t resource) bool {
	for _, c := range t.node.Get("code", "coding").Items() {
		if strings.HasSuffix(c.String("system"), "/step-kind") && c.String("code") == "call" {
			return true
		}
	}
	return false
}

func extension(n *fhir.Node, name string) *fhir.Node {
	for _, e := range n.Get("extension").Items() {
		if e.String("url") == extensionBase+name {
			return e
		}
	}
	return nil
}
