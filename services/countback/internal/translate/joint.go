package translate

// elsewhere reports whether the record of a ground is about another joint, or
// the other side, than the operation. What either does not say may be the same.
func (p *Protocol) elsewhere(records []*Record, ref string, facts map[string]any) bool {
	for _, r := range records {
		if r.Ref() != ref {
			continue
		}
		rule := p.firstRule(r)
		return rule != nil && rule.sameJoint && (differs(rule.joint, facts["joint"]) || differs(p.sideOf(r), facts["side"]))
	}
	return false
}

func (p *Protocol) sideOf(r *Record) string {
	side, _ := p.factsOf([]*Record{r})["side"].(string)
	return side
}

// differs reports whether two values are both known, and neither stands for both
// sides.
func differs(a string, of any) bool {
	b, _ := of.(string)
	const both = "both"
	return a != "" && b != "" && a != b && a != both && b != both
}
