package conformance

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"
)

// Options say what is run against which server.
type Options struct {
	Base   string // address of the FHIR API, such as http://127.0.0.1:8080/fhir
	Client *http.Client
	Token  string   // sent as a bearer token; empty: none
	Only   []string // names of scripts or tests; empty: all
	Today  string   // the server's day, YYYY-MM-DD; empty: by its header Date
	Now    func() time.Time
	// Each is called with every test as soon as it is done; may be nil.
	Each func(TestResult)
}

// ErrServer says that what answers is no FHIR R4 server.
var ErrServer = errors.New("not a FHIR R4 server")

// Execute carries the scripts out, one after another. Failed tests are no error:
// an error is ErrServer, ErrScript, or that of a cancelled context.
func Execute(ctx context.Context, scripts []*Script, o Options) (*Results, error) {
	o.Base = strings.TrimSuffix(o.Base, "/")
	began := o.Now()
	server, today, err := meet(ctx, o)
	if err != nil {
		return nil, err
	}
	out := &Results{Base: o.Base, Server: server, Began: began}
	for _, s := range scripts {
		tests := s.chosen(o.Only)
		if len(tests) == 0 {
			continue
		}
		run := &run{Options: o, script: s, today: today, unique: strings.ToLower(rand.Text()[:12]), held: map[string]*Exchange{}, created: map[string]string{}, fixtures: map[string][]byte{}}
		out.Scripts = append(out.Scripts, run.all(ctx, tests))
		if err := ctx.Err(); err != nil {
			return nil, err
		}
	}
	if len(out.Scripts) == 0 {
		return nil, fmt.Errorf("%w: no test is called %s", ErrScript, strings.Join(o.Only, " or "))
	}
	out.Took = o.Now().Sub(began)
	return out, nil
}

func (s *Script) chosen(only []string) []Test {
	var out []Test
	for _, t := range s.Test {
		if chosen(only, s.Name, t.title()) {
			out = append(out, t)
		}
	}
	return out
}

// run is one script being carried out.
type run struct {
	Options
	script   *Script
	today    time.Time // midnight UTC of the server's day
	unique   string
	held     map[string]*Exchange // by responseId and requestId
	created  map[string]string    // id that the server gave, by fixture
	fixtures map[string][]byte    // as they were written, before substitution
	last     *Exchange
}

func (r *run) all(ctx context.Context, tests []Test) ScriptResult {
	out := ScriptResult{Script: r.script}
	out.Setup = r.setUp(ctx)
	broken := firstFailed(out.Setup)
	for _, t := range tests {
		began := r.Now()
		result := TestResult{Script: r.script.Name, Test: t.title(), About: t.Description, Verdict: Pass}
		if broken != nil {
			result.Verdict, result.SetupFailed = Fail, true
			result.Actions = []ActionResult{*broken}
		} else {
			result.Actions = r.actions(ctx, t.Action)
			result.Verdict = verdict(result.Actions)
		}
		result.Took = r.Now().Sub(began)
		out.Tests = append(out.Tests, result)
		if r.Each != nil {
			r.Each(result)
		}
	}
	out.Teardown = r.tearDown(ctx)
	return out
}

// verdict is a test's, by its actions.
func verdict(actions []ActionResult) Verdict {
	out := Pass
	for _, a := range actions {
		switch a.Verdict {
		case Fail, Broken:
			return Fail
		case Warning:
			out = Warning
		}
	}
	return out
}

// actions are carried out until one fails; the others are skipped.
func (r *run) actions(ctx context.Context, actions []Action) []ActionResult {
	var out []ActionResult
	for _, a := range actions {
		if firstFailed(out) != nil {
			out = append(out, ActionResult{Operation: a.Operation != nil, About: a.about(), Verdict: Skip})
			continue
		}
		out = append(out, r.action(ctx, a))
	}
	return out
}

func (a *Action) about() string {
	label, description := "", ""
	if a.Operation != nil {
		label, description = a.Operation.Label, a.Operation.Description
	} else {
		label, description = a.Assert.Label, a.Assert.Description
	}
	if description != "" {
		return description
	}
	return label
}

func (r *run) action(ctx context.Context, a Action) ActionResult {
	out := ActionResult{Operation: a.Operation != nil, About: a.about(), Verdict: Pass}
	if a.Operation != nil {
		x, err := r.operate(ctx, a.Operation)
		out.Exchange = x
		if err != nil {
			out.Verdict, out.Message = Broken, err.Error()
		}
		return out
	}
	x, err := r.assert(a.Assert)
	out.Exchange = x
	var no *disappointment
	switch {
	case err == nil:
	case errors.As(err, &no) && a.Assert.WarningOnly:
		out.Verdict, out.Message = Warning, err.Error()
	case errors.As(err, &no):
		out.Verdict, out.Message = Fail, err.Error()
	default:
		out.Verdict, out.Message = Broken, err.Error()
	}
	return out
}

// setUp creates what is to be there by itself, and then does the setup.
func (r *run) setUp(ctx context.Context) []ActionResult {
	var out []ActionResult
	for _, f := range r.script.Fixture {
		body, err := r.script.fixture(f)
		if err == nil {
			r.fixtures[f.ID] = body
			if !f.Autocreate {
				continue
			}
			var x *Exchange
			x, err = r.operate(ctx, automatic("create", &Operation{SourceID: f.ID}))
			if err == nil && x.Status/100 != 2 {
				err = &disappointment{"create fixture " + f.ID, fmt.Sprint("status ", x.Status)}
			}
			out = append(out, ActionResult{Operation: true, About: "create fixture " + f.ID, Verdict: Pass, Exchange: x})
		}
		if err != nil {
			out = append(out, ActionResult{Operation: true, About: "fixture " + f.ID, Verdict: Broken, Message: err.Error()})
			return out
		}
	}
	return append(out, r.actions(ctx, r.script.Setup.Action)...)
}

func automatic(code string, o *Operation) *Operation {
	o.Type.Code = code
	return o
}

// tearDown leaves no trace where the server lets it; nothing of it fails.
func (r *run) tearDown(ctx context.Context) []ActionResult {
	out := make([]ActionResult, 0, len(r.script.Teardown.Action))
	for _, a := range r.script.Teardown.Action {
		result := r.action(ctx, a)
		if result.Verdict != Pass {
			result.Verdict = Warning
		}
		out = append(out, result)
	}
	for _, f := range r.script.Fixture {
		if f.Autodelete && r.created[f.ID] != "" {
			x, err := r.operate(ctx, automatic("delete", &Operation{TargetID: f.ID}))
			result := ActionResult{Operation: true, About: "delete fixture " + f.ID, Verdict: Pass, Exchange: x}
			if err != nil || x.Status/100 != 2 {
				result.Verdict, result.Message = Warning, "the fixture was not deleted"
			}
			out = append(out, result)
		}
	}
	return out
}
