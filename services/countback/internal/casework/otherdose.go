package casework

import (
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
)

// setsDoses says of each signature that is not given whether the dose around
// surgery is the prescriber's to say. stored are the items of the case.
func (v *CaseView) setsDoses(o *Office, tx *store.Tx, stored []store.Item) error {
	for n := range v.Items {
		i := &v.Items[n]
		if !i.Step.SignsLastDose() || i.State == readiness.StateDone {
			continue
		}
		c, err := o.stands(tx, stored[0])
		if err != nil {
			return err
		}
		for n := range v.Items {
			i := &v.Items[n]
			i.SetsDose = i.Step.SignsLastDose() && c.SetsDose(i.Key.Repeat)
		}
		return nil
	}
	return nil
}
