package casework

import (
	"context"

	"example.org/countback/services/countback/internal/store"
)

// Counts are the figures that an operator watches.
type Counts struct {
	Cases   []store.StateCount
	Waiting int64 // events committed and not yet published
	Resting int64 // cases whose timer failed and is tried again later
	Open    int64 // open cases
	Older   int64 // of these, planned by another protocol than the one in force
}

// Counts reads the figures.
func (o *Office) Counts(ctx context.Context) (Counts, error) {
	var c Counts
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		var err error
		if c.Cases, err = tx.CaseCounts(); err != nil {
			return err
		}
		if c.Waiting, err = tx.Waiting(); err != nil {
			return err
		}
		if c.Resting, err = tx.Resting(); err != nil {
			return err
		}
		f, err := tx.InForce()
		if err != nil {
			return err
		}
		c.Open, c.Older, err = tx.OpenCounts(f.Canonical())
		return err
	})
	return c, err
}

// Plans lists every open case with its CarePlan and its Tasks, in the order in
// which the cases were opened.
func (o *Office) Plans(ctx context.Context) ([]Planned, error) {
	var out []Planned
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		after := ""
		for {
			cases, err := tx.OpenCases(after, 100)
			if err != nil || len(cases) == 0 {
				return err
			}
			for _, c := range cases {
				p, err := o.planned(tx, c)
				if err != nil {
					return err
				}
				out = append(out, p)
				after = c.ID
			}
		}
	})
	return out, err
}

// Planned is a case as it is served.
type Planned struct {
	CarePlan store.Stored
	Tasks    []store.Stored
}

func (o *Office) planned(tx *store.Tx, c store.Case) (Planned, error) {
	var p Planned
	var err error
	if p.CarePlan, err = tx.Current("CarePlan", c.ID); err != nil {
		return p, err
	}
	items, err := tx.Items(c.ID)
	if err != nil {
		return p, err
	}
	for _, it := range items {
		t, err := o.rendered(tx, it)
		if err != nil {
			return p, err
		}
		p.Tasks = append(p.Tasks, t)
	}
	return p, nil
}
