package casework

import (
	"context"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
)

// Carriers gives the resources of a type that carry a business identifier now. It
// is for inlets whose messages name one thing by several identifiers, to choose
// the one that a conditional request then asks for.
func (o *Office) Carriers(ctx context.Context, typ string, id fhir.Identifier) ([]*fhir.Resource, error) {
	var out []*fhir.Resource
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		ids, err := tx.ByIdentifier(typ, id.System, id.Value)
		if err != nil {
			return err
		}
		for _, id := range ids {
			cur, err := tx.Current(typ, id)
			if err != nil {
				return err
			}
			r, err := o.parsed.get(cur)
			if err != nil {
				return err
			}
			out = append(out, r)
		}
		return nil
	})
	return out, err
}
