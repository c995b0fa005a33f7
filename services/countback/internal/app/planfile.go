package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"text/tabwriter"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/sheet"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// fileLimit is the largest file that is read, in bytes.
const fileLimit = 16 << 20

// PlanOptions say what to plan from and how to print it.
type PlanOptions struct {
	Files  []string
	Output string // table, json, ics or sheet
	// Of the sheet: its language where the patient prefers none, and its size.
	Language, Paper string
}

// ErrNoCase says that the files open no case.
var ErrNoCase = errors.New("nothing in these files opens a case")

// PlanFiles reads FHIR resources and Bundles from files, puts them through the
// same intake as the server, in a folder that is thrown away, and prints the
// plans that they lead to.
func PlanFiles(ctx context.Context, cfg Config, o PlanOptions, out io.Writer) error {
	if o.Language != "" && !slices.Contains(sheet.Languages, o.Language) {
		return fmt.Errorf("plan: -language %s: the sheet is written in %s", o.Language, strings.Join(sheet.Languages, " and "))
	}
	dir, err := os.MkdirTemp("", "countback-plan-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	facility, err := cfg.FacilityOf("http://127.0.0.1/fhir")
	if err != nil {
		return err
	}
	clock := &Clock{}
	if cfg.Today != "" {
		at, err := cfg.standing(facility.Calendar)
		if err != nil {
			return err
		}
		clock.Stand(at)
	}
	db, err := store.Open(ctx, store.Options{Path: dir, Now: clock.Now, Fatal: func(err error) { panic(err) }})
	if err != nil {
		return err
	}
	defer db.Close()
	definition, err := cfg.definition()
	if err != nil {
		return err
	}
	office, err := casework.Open(ctx, casework.Options{DB: db, Facility: facility, Token: "plan", PlanDefinition: definition})
	if err != nil {
		return err
	}
	for _, name := range o.Files {
		if err := receiveFile(ctx, office, name); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	plans, err := office.Plans(ctx)
	if err != nil {
		return err
	}
	if len(plans) == 0 {
		return noCase(ctx, office)
	}
	switch o.Output {
	case "json":
		return printJSON(plans, out)
	case "sheet":
		return printSheet(ctx, office, plans, cfg.sheetOptions(sheet.Options{Choice: o.Language, Paper: o.Paper}, facility.Calendar.DateOf(clock.Now())), out)
	case "ics":
		return printCalendar(ctx, office, plans, clock.Now().In(facility.Calendar.Zone()), out)
	}
	return printTable(plans, facility, out)
}

// noCase says why each booking that was read opens none.
func noCase(ctx context.Context, office *casework.Office) error {
	reasons, err := office.Unplanned(ctx)
	if err != nil {
		return err
	}
	err = ErrNoCase
	for _, r := range reasons {
		err = fmt.Errorf("%w\n  %s: %s", err, r.Booking, r.Reason)
	}
	return err
}

// receiveFile sends one file through the intake: a transaction or batch as it
// is; any other Bundle as the resources that it holds; a resource by itself.
func receiveFile(ctx context.Context, office *casework.Office, name string) error {
	body, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	r, issues := fhir.Parse(body, fileLimit)
	if len(issues) > 0 {
		return issues
	}
	d := casework.Delivery{Source: "file", ContentType: "application/fhir+json", Method: "POST", Body: body}
	if r.Type != "Bundle" {
		d.Requests = []casework.Request{alone(r)}
	} else if d.Requests, err = bundled(r); err != nil {
		return err
	}
	_, err = office.Receive(ctx, d)
	return err
}

func alone(r *fhir.Resource) casework.Request {
	q := casework.Request{Method: "POST", Type: r.Type, Resource: r}
	if id := r.ID(); id != "" {
		q.Method, q.ID = "PUT", id
	}
	return q
}

func bundled(r *fhir.Resource) ([]casework.Request, error) {
	b, issues := r.Bundle(0)
	if len(issues) > 0 {
		return nil, issues
	}
	var out []casework.Request
	for _, e := range b.Entries {
		if len(e.Issues) > 0 {
			return nil, e.Issues
		}
		if e.Resource == nil {
			continue
		}
		q := alone(e.Resource)
		if e.Method != "" {
			q = casework.Request{
				Method: e.Method, Type: e.TargetType, ID: e.TargetID, Query: e.Query,
				IfNoneExist: e.IfNoneExist, IfMatch: e.IfMatch, Resource: e.Resource,
			}
		}
		q.At, q.FullURL = fmt.Sprintf("Bundle.entry[%d]", e.Index), e.FullURL
		out = append(out, q)
	}
	return out, nil
}

// printJSON writes one Bundle with every CarePlan and its Tasks.
func printJSON(plans []casework.Planned, out io.Writer) error {
	b := fhir.NewResultBundle(r4.BundleTypeCollection)
	for _, p := range plans {
		for _, s := range append([]store.Stored{p.CarePlan}, p.Tasks...) {
			b.Entry = append(b.Entry, r4.BundleEntry{Resource: json.RawMessage(s.Body)})
		}
	}
	text, err := fhir.Marshal(b)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "%s\n", text)
	return err
}

// printTable writes each plan as a table, in the protocol's order.
func printTable(plans []casework.Planned, f translate.Facility, out io.Writer) error {
	for n, p := range plans {
		if n > 0 {
			fmt.Fprintln(out)
		}
		sheet, err := f.Sheet(p.CarePlan.Body, bodies(p.Tasks))
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s\n%s\n\n", sheet.Headline, sheet.State)
		w := tabwriter.NewWriter(out, 2, 0, 2, ' ', 0)
		fmt.Fprintln(w, "STEP\tWHO\tOPENS\tDUE\tLAST DAY\tSTATE\tREMARK")
		for _, l := range sheet.Lines {
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", l.Step, l.Who, l.Opens, l.Due, l.Last, l.State, l.Remark)
		}
		if err := w.Flush(); err != nil {
			return err
		}
		fmt.Fprintf(out, "\n%s\n", sheet.Notice)
	}
	return nil
}

func bodies(list []store.Stored) [][]byte {
	out := make([][]byte, len(list))
	for n, s := range list {
		out[n] = s.Body
	}
	return out
}
