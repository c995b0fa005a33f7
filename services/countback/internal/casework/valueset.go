package casework

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"strings"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

const valueSetType = "ValueSet"

// valueSets are the value sets that come with the service.
func valueSets() ([]*fhir.Resource, error) {
	names, err := fs.Glob(api.Protocol, "protocol/ValueSet-*.json")
	if err != nil {
		return nil, err
	}
	var out []*fhir.Resource
	for _, name := range names {
		body, err := fs.ReadFile(api.Protocol, name)
		if err != nil {
			return nil, err
		}
		r, issues := fhir.Parse(body, DefinitionLimit)
		if len(issues) > 0 {
			return nil, fmt.Errorf("%s: %w", name, issues)
		}
		out = append(out, r)
	}
	return out, nil
}

// definitions are what a protocol refers to, with the value sets in the versions
// given, and the questionnaires in those and all earlier ones. A protocol that was
// stored before these were kept has those inside.
func (o *Office) definitions(tx *store.Tx, sets store.SetVersions) (translate.Definitions, error) {
	if len(sets) == 0 {
		return o.defs, nil
	}
	out := o.defs
	out.ValueSets = make(map[string]*translate.ValueSet, len(sets))
	out.Questionnaires = maps.Clone(o.defs.Questionnaires)
	for id, version := range sets {
		if form, ok := strings.CutPrefix(id, questionnaireType+"/"); ok {
			if err := addVersions(tx, out.Questionnaires, form, version); err != nil {
				return out, err
			}
			continue
		}
		s, err := tx.Version(valueSetType, id, version)
		if err != nil {
			return out, err
		}
		r, issues := fhir.Parse(s.Body, len(s.Body)+1)
		if len(issues) > 0 {
			return out, issues
		}
		set, err := translate.ReadValueSet(r)
		if err != nil {
			return out, err
		}
		out.ValueSets[set.URL] = set
	}
	return out, nil
}

// ReplaceSet stores a value set, new or in place of the one with its id. A
// version of the protocol keeps the sets that it was adopted with, so that its
// plans can be explained: the new one counts from the next version on that is
// adopted.
func (o *Office) ReplaceSet(ctx context.Context, n NewDefinition) (Result, error) {
	if err := decidable(n.Resource); err != nil {
		return Result{}, err
	}
	var out Result
	err := o.db.Write(ctx, func(tx *store.Tx) error {
		cur, err := tx.Current(valueSetType, n.ID)
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
		if err := o.mayReplace(tx, cur, n); err != nil {
			return err
		}
		received, err := tx.Archive(store.Received{
			At: tx.Now, Source: n.Source, ContentType: n.ContentType, Method: "PUT", Target: n.Target, Body: n.Body,
		})
		if err != nil {
			return err
		}
		out.Stored, err = o.publish(tx, n.Resource, received)
		out.Created, out.Changed = cur.Version == 0, out.Stored.Version > cur.Version
		return err
	})
	if err != nil {
		return Result{}, err
	}
	return out, nil
}

// decidable refuses a set of which it could not be said whether a code is in it.
func decidable(r *fhir.Resource) error {
	set, err := translate.ReadValueSet(r)
	switch {
	case err != nil:
		return Refuse(ErrInvalid, fhir.CodeNotSupported, "ValueSet.compose", err.Error())
	case set.URL == "":
		return Refuse(ErrInvalid, fhir.CodeRequired, "ValueSet.url", "it is missing: protocols name a set by its url")
	case !r.Get("compose", "include").Exists():
		return Refuse(ErrInvalid, fhir.CodeRequired, "ValueSet.compose", "compose.include is missing: codes are read from there, and not from an expansion")
	}
	return nil
}

// mayReplace refuses what would leave two sets of one url, or a url without its
// set. cur has Version 0 when there is none with the id.
func (o *Office) mayReplace(tx *store.Tx, cur store.Stored, n NewDefinition) error {
	if n.Resource.ID() != n.ID {
		return Refuse(ErrMalformed, fhir.CodeInvariant, "ValueSet.id", "ValueSet.id must be the id that the address names")
	}
	if n.IfMatch != "" && strings.TrimSpace(n.IfMatch) != etag(cur.Version) {
		return Refuse(ErrVersion, "conflict", valueSetType, "the ValueSet has changed since the version named in If-Match: read it again")
	}
	url := n.Resource.String("url")
	if cur.Version > 0 {
		held, issues := fhir.Parse(cur.Body, len(cur.Body)+1)
		if len(issues) > 0 {
			return issues
		}
		if held.String("url") != url {
			return Refuse(ErrInvalid, fhir.CodeBusinessRule, "ValueSet.url", "the url must stay "+held.String("url")+", by which protocols name it")
		}
		return nil
	}
	sets, err := tx.CurrentSets()
	if err != nil {
		return err
	}
	defs, err := o.definitions(tx, sets)
	if err == nil && defs.ValueSets[url] != nil {
		err = Refuse(ErrConflict, fhir.CodeDuplicate, "ValueSet.url", "there is a ValueSet with this url under another id: send the new one to that")
	}
	return err
}
