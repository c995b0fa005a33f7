package casework

import (
	"context"
	"fmt"
	"io/fs"
	"sync"
	"sync/atomic"
	"time"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// DefinitionLimit is the largest definition that is read, in bytes. The
// default protocol has some 450 kB, most of it instructions.
const DefinitionLimit = 4 << 20

// Options say where and by which rules an Office works.
type Options struct {
	DB       *store.DB
	Facility translate.Facility
	// Token names the facility in event subjects: lower case letters, digits,
	// '-' and '_'.
	Token string
	// PlanDefinition replaces the default protocol; nil takes the embedded one.
	// Neither counts once a protocol was adopted: that one stays in force.
	PlanDefinition []byte
	// Silent is how long a source may be silent before [Office.Feeds] says so;
	// zero: for ever.
	Silent time.Duration
	// Awaited are sources that are to be heard from: they are silent, too, when
	// they never were.
	Awaited []string
	// Receivers say how those who subscribed are treated.
	Receivers Receivers
}

// Office does the casework. It is safe for concurrent use: each change is one
// transaction, and the store has one writer at a time.
type Office struct {
	db       *store.DB
	facility translate.Facility
	token    string
	defs     translate.Definitions // those inside
	holder   string                // of leases: this copy of the service
	overrule string                // canonical of the protocol it was started with, where another is in force

	current atomic.Pointer[translate.Protocol] // in force, as last seen committed
	looking sync.Mutex                         // one at a time changes current
	adopted chan struct{}

	mu    sync.RWMutex
	known map[string]*translate.Protocol             // by canonical: in force, and of items that earlier versions planned
	alike map[[2]*translate.Protocol]map[string]bool // see translate.Protocol.Alike

	parsed parsedCache

	silent   time.Duration
	awaited  []string
	refusals refusals
	started  time.Time

	receivers  Receivers
	subscribed chan struct{}
}

// Open sees to it that a protocol is in force: the one that was adopted last,
// else the one that the options name. It is stored, so that what is planned by
// it can be rendered for ever, and served with the value sets that it uses. Open
// refuses a protocol whose text changed under the same version.
func Open(ctx context.Context, o Options) (*Office, error) {
	defs, embedded, err := Definitions()
	if err != nil {
		return nil, err
	}
	body := o.PlanDefinition
	if body == nil {
		body = embedded
	}
	off := &Office{
		db: o.DB, facility: o.Facility, token: o.Token, defs: defs, adopted: make(chan struct{}, 1),
		silent: o.Silent, awaited: o.Awaited,
		receivers: o.Receivers.withDefaults(), subscribed: make(chan struct{}, 1),
		known: map[string]*translate.Protocol{}, alike: map[[2]*translate.Protocol]map[string]bool{},
	}
	plan, issues := fhir.Parse(body, DefinitionLimit)
	if len(issues) > 0 {
		return nil, issues
	}
	sets, err := valueSets()
	if err != nil {
		return nil, err
	}
	if err := o.DB.Reindex(ctx, search.Mark(), off.indexOf); err != nil {
		return nil, err
	}
	var start *definition
	err = o.DB.Write(ctx, func(tx *store.Tx) error {
		off.holder, off.started = tx.NewID(), tx.Now
		if err := off.publishDefinitions(tx); err != nil {
			return err
		}
		for _, set := range sets {
			if _, err := off.publish(tx, set, 0); err != nil {
				return err
			}
		}
		if start, err = off.judge(tx, plan); err != nil {
			return err
		}
		return off.begin(tx, start)
	})
	if err != nil {
		return nil, err
	}
	if err := off.look(ctx); err != nil {
		return nil, err
	}
	if c := start.protocol.Canonical(); o.PlanDefinition != nil && c != off.Protocol().Canonical() {
		off.overrule = c
	}
	return off, nil
}

// indexOf is what a stored resource is found by.
func (o *Office) indexOf(s store.Stored) ([]search.Value, error) {
	r, issues := fhir.Parse(s.Body, len(s.Body)+1)
	if len(issues) > 0 {
		return nil, issues
	}
	return search.Index(r, o.facility.Base, o.facility.Calendar.Zone()), nil
}

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
	for _, name := range []string{"fact", "hold"} {
		if err := read(api.FHIR, "fhir/CodeSystem-"+name+".json"); err != nil {
			return defs, nil, err
		}
	}
	if err := read(api.FHIR, ourQuestionnaires); err != nil {
		return defs, nil, err
	}
	return defs, plan, read(api.Protocol, "protocol/*.json")
}

func define(defs *translate.Definitions, body, plan []byte) ([]byte, error) {
	r, issues := fhir.Parse(body, DefinitionLimit)
	if len(issues) > 0 {
		return plan, issues
	}
	switch r.Type {
	case "CodeSystem":
		if r.ID() == "hold" {
			defs.Holds = r
		} else {
			defs.Facts = r
		}
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
		defs.Questionnaires.Add(q)
	case "PlanDefinition":
		if r.String("type", "coding", "code") == translate.TypeMedicineRules {
			defs.Medicines = r
			return plan, nil
		}
		return body, nil
	}
	return plan, nil
}
