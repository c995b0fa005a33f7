package casework

import (
	"errors"
	"fmt"
	"maps"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// definition is a PlanDefinition that was read as a protocol.
type definition struct {
	resource *fhir.Resource // as it came
	protocol *translate.Protocol
	sets     store.SetVersions // that it was read with
}

// judge reads a PlanDefinition as a protocol, with the value sets of now. What is
// wrong with it is in the error, all of it, as fhir.Issues.
func (o *Office) judge(tx *store.Tx, r *fhir.Resource) (*definition, error) {
	sets, err := tx.CurrentSets()
	if err != nil {
		return nil, err
	}
	defs, err := o.definitions(tx, sets)
	if err != nil {
		return nil, err
	}
	issues := translate.Unnamed(r)
	p, err := translate.ReadProtocol(r, defs)
	faults := translate.Faults(r, err)
	if err != nil && faults == nil {
		return nil, err
	}
	if issues = append(issues, faults...); len(issues) > 0 {
		return nil, issues
	}
	return &definition{r, p, sets}, nil
}

// Protocol is the protocol in force, as this copy of the service last saw it
// committed. What plans within a transaction asks inForce instead.
func (o *Office) Protocol() *translate.Protocol { return o.current.Load() }

// Overruled is the canonical of the protocol that the service was started with,
// where one that was adopted before stays in force in its place; else empty.
func (o *Office) Overruled() string { return o.overrule }

// inForce is the protocol that a transaction plans by. Each asks once and keeps
// to the answer, so that no plan is made by two.
func (o *Office) inForce(tx *store.Tx) (*translate.Protocol, error) {
	f, err := tx.InForce()
	if err != nil {
		return nil, err
	}
	return o.protocolOf(tx, f.Canonical())
}

// protocolOf gives the protocol that an item was planned by.
func (o *Office) protocolOf(tx *store.Tx, canonical string) (*translate.Protocol, error) {
	o.mu.RLock()
	p, ok := o.known[canonical]
	o.mu.RUnlock()
	if ok {
		return p, nil
	}
	url, version := cutCanonical(canonical)
	body, err := tx.Protocol(url, version)
	if err != nil {
		return nil, fmt.Errorf("protocol of a plan: %w", err)
	}
	r, issues := fhir.Parse(body, DefinitionLimit)
	if len(issues) > 0 {
		return nil, issues
	}
	sets, err := tx.ProtocolSets(url, version)
	if err != nil {
		return nil, err
	}
	defs, err := o.definitions(tx, sets)
	if err != nil {
		return nil, err
	}
	if p, err = translate.ReadProtocol(r, defs); err != nil {
		return nil, err
	}
	o.know(canonical, p)
	return p, nil
}

// know keeps a protocol that was read; nil forgets it.
func (o *Office) know(canonical string, p *translate.Protocol) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.known[canonical] = p; p == nil {
		delete(o.known, canonical)
	}
}

// steadySteps are the steps of which two protocols render every Task alike.
func (o *Office) steadySteps(old, now *translate.Protocol) map[string]bool {
	pair := [2]*translate.Protocol{old, now}
	o.mu.RLock()
	alike, ok := o.alike[pair]
	o.mu.RUnlock()
	if !ok {
		alike = old.Alike(now)
		o.mu.Lock()
		o.alike[pair] = alike
		o.mu.Unlock()
	}
	return alike
}

func cutCanonical(c string) (url, version string) {
	n := strings.LastIndexByte(c, '|')
	if n < 0 {
		return c, ""
	}
	return c[:n], c[n+1:]
}

// begin puts the protocol that the service was started with in force, unless one
// was adopted before or it is in force already.
func (o *Office) begin(tx *store.Tx, d *definition) error {
	held, err := tx.InForce()
	switch {
	case err != nil && !errors.Is(err, store.ErrNotFound):
		return err
	case held.ReceivedID > 0:
		return nil
	case held.Canonical() == d.protocol.Canonical():
		return o.resume(tx, d)
	}
	return o.put(tx, d, 0)
}

// resume goes on with the protocol that is in force already.
func (o *Office) resume(tx *store.Tx, d *definition) error {
	same, err := o.sameText(tx, d)
	if err != nil {
		return err
	}
	if !same {
		return errText(d)
	}
	sets, err := tx.ProtocolSets(d.protocol.URL, d.protocol.Version)
	if err == nil && maps.Equal(sets, d.sets) { // read once is enough
		o.know(d.protocol.Canonical(), d.protocol)
	}
	return err
}

func errText(d *definition) error {
	return fmt.Errorf("protocol %s is stored with another text: a change needs a new version", d.protocol.Canonical())
}

// sameText reports whether the version is stored with this text; one that is
// not stored at all is another. What the service writes into meta of what it
// serves does not count.
func (o *Office) sameText(tx *store.Tx, d *definition) (bool, error) {
	body, err := tx.Protocol(d.protocol.URL, d.protocol.Version)
	if err != nil {
		return false, err
	}
	if string(body) == string(d.resource.Raw) {
		return true, nil
	}
	held, issues := fhir.Parse(body, len(body)+1)
	if len(issues) > 0 {
		return false, issues
	}
	return plainText(held) == plainText(d.resource), nil
}

// plainText is a definition without what the service writes into meta.
func plainText(r *fhir.Resource) string { return string(r.WithMeta("x", "1", time.Unix(0, 0))) }

// put stores a protocol, serves it and puts it in force. received is the archive
// row of the message that asks for it; 0 for none.
func (o *Office) put(tx *store.Tx, d *definition, received int64) error {
	_, err := tx.Protocol(d.protocol.URL, d.protocol.Version)
	switch {
	case errors.Is(err, store.ErrNotFound):
		if err = tx.SaveProtocol(d.protocol.URL, d.protocol.Version, d.resource.Raw); err == nil {
			err = tx.SaveProtocolSets(d.protocol.URL, d.protocol.Version, d.sets)
		}
		o.know(d.protocol.Canonical(), d.protocol)
	case err == nil:
		var same bool
		if same, err = o.sameText(tx, d); err == nil && !same {
			err = errText(d)
		}
	}
	if err != nil {
		return err
	}
	s, err := o.publish(tx, d.resource, received)
	if err != nil {
		return err
	}
	return tx.PutInForce(store.InForce{
		URL: d.protocol.URL, Version: d.protocol.Version, ReceivedID: received, Resource: versioned(s),
	})
}

// publish serves a definition under its own id, as a new version unless it says
// what the current one says.
func (o *Office) publish(tx *store.Tx, r *fhir.Resource, received int64) (store.Stored, error) {
	id := r.ID()
	if id == "" { // a file may have none
		id = lastSegment(r.String("url"))
	}
	cur, err := tx.Current(r.Type, id)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return cur, err
	}
	zone := o.facility.Calendar.Zone()
	as := func(version int64, updated time.Time) []byte {
		return r.WithMeta(id, strconv.FormatInt(version, 10), updated.In(zone))
	}
	brought := received == 0 && cur.ReceivedID > 0 // what comes with the service replaces nothing that was sent
	if brought || cur.Version > 0 && string(as(cur.Version, cur.Updated)) == string(cur.Body) {
		return cur, nil
	}
	next := store.Stored{Type: r.Type, ID: id, Version: cur.Version + 1, Updated: tx.Now, ReceivedID: received}
	next.Body = as(next.Version, next.Updated)
	return next, tx.Save(next, search.Index(r, o.facility.Base, zone))
}

// lastSegment is an id for what has none: the end of its url.
func lastSegment(url string) string {
	id := url[strings.LastIndexByte(url, '/')+1:]
	if ref, err := fhir.ParseRef("PlanDefinition/"+id, ""); err == nil && ref.ID == id {
		return id
	}
	return "protocol"
}
