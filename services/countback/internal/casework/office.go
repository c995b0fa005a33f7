package casework

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"sync"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// definitionLimit is the largest definition that is read, in bytes. The
// default protocol has some 450 kB, most of it instructions.
const definitionLimit = 4 << 20

// Options say where and by which rules an Office works.
type Options struct {
	DB       *store.DB
	Facility translate.Facility
	// Token names the facility in event subjects: lower case letters, digits,
	// '-' and '_'.
	Token string
	// PlanDefinition replaces the default protocol; nil takes the embedded one.
	PlanDefinition []byte
}

// Office does the casework. It is safe for concurrent use: each change is one
// transaction, and the store has one writer at a time.
type Office struct {
	db       *store.DB
	facility translate.Facility
	token    string
	defs     translate.Definitions
	protocol *translate.Protocol // in force
	holder   string              // of leases: this copy of the service

	mu    sync.RWMutex
	older map[string]*translate.Protocol // by canonical, for items planned by earlier versions

	parsed parsedCache
}

// Open reads the protocol in force, and stores it so that what is planned by it
// can be rendered for ever. It refuses a protocol whose text changed under the
// same version.
func Open(ctx context.Context, o Options) (*Office, error) {
	defs, embedded, err := Definitions()
	if err != nil {
		return nil, err
	}
	body := o.PlanDefinition
	if body == nil {
		body = embedded
	}
	off := &Office{db: o.DB, facility: o.Facility, token: o.Token, defs: defs, older: map[string]*translate.Protocol{}}
	if off.protocol, err = off.read(body); err != nil {
		return nil, err
	}
	err = o.DB.Write(ctx, func(tx *store.Tx) error {
		off.holder = tx.NewID()
		if err := off.publish(tx); err != nil {
			return err
		}
		have, err := tx.Protocol(off.protocol.URL, off.protocol.Version)
		switch {
		case errors.Is(err, store.ErrNotFound):
			return tx.SaveProtocol(off.protocol.URL, off.protocol.Version, body)
		case err != nil:
			return err
		case string(have) != string(body):
			return fmt.Errorf("protocol %s is stored with another text: a change needs a new version", off.protocol.Canonical())
		}
		return nil
	})
	return off, err
}

// Protocol is the protocol in force.
func (o *Office) Protocol() *translate.Protocol { return o.protocol }

// Facility is the hospital's calendar and base.
func (o *Office) Facility() translate.Facility { return o.facility }

// Definitions reads the embedded definitions: what protocols refer to, and the
// text of the default PlanDefinition.
func Definitions() (translate.Definitions, []byte, error) {
	defs := translate.Definitions{ValueSets: map[string]*translate.ValueSet{}, Questionnaires: translate.Questionnaires{}}
	var plan []byte
	read := func(fsys fs.FS, glob string) error {
		names, err := fs.Glob(fsys, glob)
		if err != nil {
			return err
		}
		for _, name := range names {
			body, err := fs.ReadFile(fsys, name)
			if err != nil {
				return err
			}
			if plan, err = define(&defs, body, plan); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
		}
		return nil
	}
	if err := read(api.FHIR, "fhir/CodeSystem-fact.json"); err != nil {
		return defs, nil, err
	}
	if err := read(api.FHIR, ourQuestionnaires); err != nil {
		return defs, nil, err
	}
	return defs, plan, read(api.Protocol, "protocol/*.json")
}

func define(defs *translate.Definitions, body, plan []byte) ([]byte, error) {
	r, issues := fhir.Parse(body, definitionLimit)
	if len(issues) > 0 {
		return plan, issues
	}
	switch r.Type {
	case "CodeSystem":
		defs.Facts = r
	case "ValueSet":
		set, err := translate.ReadValueSet(r)
		if err != nil {
			return plan, err
		}
		defs.ValueSets[set.URL] = set
	case "Questionnaire":
		q, err := translate.ReadQuestionnaire(r)
		if err != nil {
			return plan, err
		}
		defs.Questionnaires[q.URL] = q
	case "PlanDefinition":
		return body, nil
	}
	return plan, nil
}

func (o *Office) read(body []byte) (*translate.Protocol, error) {
	r, issues := fhir.Parse(body, definitionLimit)
	if len(issues) > 0 {
		return nil, issues
	}
	return translate.ReadProtocol(r, o.defs)
}

// protocolOf gives the protocol that an item was planned by.
func (o *Office) protocolOf(tx *store.Tx, canonical string) (*translate.Protocol, error) {
	if canonical == o.protocol.Canonical() {
		return o.protocol, nil
	}
	o.mu.RLock()
	p := o.older[canonical]
	o.mu.RUnlock()
	if p != nil {
		return p, nil
	}
	url, version := cutCanonical(canonical)
	body, err := tx.Protocol(url, version)
	if err != nil {
		return nil, fmt.Errorf("protocol of an older plan: %w", err)
	}
	if p, err = o.read(body); err != nil {
		return nil, err
	}
	o.mu.Lock()
	o.older[canonical] = p
	o.mu.Unlock()
	return p, nil
}

func cutCanonical(c string) (url, version string) {
	for n := len(c) - 1; n >= 0; n-- {
		if c[n] == '|' {
			return c[:n], c[n+1:]
		}
	}
	return c, ""
}
