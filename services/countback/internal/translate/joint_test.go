package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Only the joint that is to be operated on holds; what a record or the booking
// does not say may be the same joint. Three months: convention, evidence mixed.
func TestInjectedJoint(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	const knee, rightKnee, leftKnee, rightHip, hip = "49076000", "6757004", "82169009", "287579007", "24136001"
	for _, r := range []struct {
		name, site  string
		joint, side any
		says        string // empty: no hold
	}{
		{"same joint and side", rightKnee, "knee", "right", "an injection into the knee"},
		{"the other side", leftKnee, "knee", "right", ""},
		{"the other joint", rightHip, "knee", "right", ""},
		{"the other joint, no side", hip, "knee", "right", ""},
		{"same joint, no side", knee, "knee", "right", "an injection into the knee"},
		{"both knees are operated on", leftKnee, "knee", "both", "an injection into the knee"},
		{"the booking says no side", leftKnee, "knee", nil, "an injection into the knee"},
		{"no record says which joint", "", "knee", "right", "an injection into a joint, and no record says into which"},
		{"a hip before a hip", rightHip, "hip", "right", "an injection into the hip"},
	} {
		t.Run(r.name, func(t *testing.T) {
			injection := dentalWork("http://hl7.org/fhir/sid/icd-10-pcs", "3E0U33Z", "completed", "2026-10-15")
			if r.site != "" {
				injection["bodySite"] = []any{coded(snomed, r.site)}
			}
			b := Booking{Primary: "Appointment/a", Case: readiness.Case{Day: date(t, "2026-11-30"), Facts: map[string]any{}}}
			if r.joint != nil {
				b.Case.Facts["joint"] = r.joint
			}
			if r.side != nil {
				b.Case.Facts["side"] = r.side
			}
			grounds := p.Grounds([]*Record{record(t, injection)}, &b, f, date(t, "2026-11-20"))
			holds := readiness.Holds(nil, grounds, &b.Case, p.Protocol, f.clock(t, "2026-11-20 09:00"))
			if r.says == "" {
				require.Empty(t, holds)
				return
			}
			require.Len(t, holds, 1)
			require.Equal(t, "recent-joint-injection", holds[0].Kind)
			require.Contains(t, holds[0].Words(grounds, 0, date(t, "2026-11-20")), r.says)
		})
	}
}
