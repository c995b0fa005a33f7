package casework

import (
	"errors"
	"slices"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
)

// maxIncluded is the most resources that a page brings beside its matches.
const maxIncluded = 1000

// Found is one page of a search.
type Found struct {
	store.Page
	Included []store.Stored // what the matches refer to, or what refers to them, each once
	Cut      bool           // there was more to include than is given at once
}

// including collects what belongs to the matches of a page.
type including struct {
	office *Office
	tx     *store.Tx
	seen   map[string]bool
	found  *Found
}

// include adds what a search asks for beside its matches.
func (o *Office) include(tx *store.Tx, q search.Query, found *Found) error {
	in := including{office: o, tx: tx, seen: map[string]bool{}, found: found}
	for _, s := range found.Items {
		in.seen[s.Type+"/"+s.ID] = true
	}
	for _, i := range q.Includes {
		run := in.forth
		if i.Back {
			run = in.back
		}
		if err := run(i); err != nil {
			return err
		}
	}
	return nil
}

func (in *including) add(s store.Stored) {
	name := s.Type + "/" + s.ID
	switch {
	case in.seen[name] || s.Deleted:
	case len(in.found.Included) == maxIncluded:
		in.found.Cut = true
	default:
		in.seen[name] = true
		in.found.Included = append(in.found.Included, s)
	}
}

// forth follows a reference of the matches.
func (in *including) forth(i search.Include) error {
	for _, match := range in.found.Items {
		r, issues := fhir.Parse(match.Body, len(match.Body)+1)
		if len(issues) > 0 {
			return issues
		}
		for _, ref := range search.References(r, i.Param, in.office.facility.Base) {
			if i.Only != "" && i.Only != ref.Type || in.seen[ref.String()] {
				continue
			}
			s, err := in.office.held(in.tx, ref.Type, ref.ID)
			if errors.Is(err, store.ErrNotFound) {
				continue
			}
			if err != nil {
				return err
			}
			in.add(s)
		}
	}
	return nil
}

// backAtOnce is of how many matches what refers to them is looked for at once.
const backAtOnce = 50

// back finds what refers to the matches.
func (in *including) back(i search.Include) error {
	if len(in.found.Items) == 0 {
		return nil
	}
	typ := in.found.Items[0].Type
	var ids []string
	for _, match := range in.found.Items {
		ids = append(ids, match.ID)
	}
	for some := range slices.Chunk(ids, backAtOnce) {
		page, err := in.office.search(in.tx, i.BackTo(typ, some, maxIncluded+1))
		if err != nil {
			return err
		}
		for _, s := range page.Items {
			in.add(s)
		}
	}
	return nil
}
