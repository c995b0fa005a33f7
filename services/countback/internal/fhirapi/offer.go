package fhirapi

import (
	"slices"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/search"
)

// interaction is one thing that a client may ask for. The values are codes of
// the value set type-restful-interaction, but for the conditional ones.
type interaction string

const (
	capabilities      interaction = "capabilities"
	read              interaction = "read"
	vread             interaction = "vread"
	searchType        interaction = "search-type"
	historyInstance   interaction = "history-instance"
	historyType       interaction = "history-type"
	historySystem     interaction = "history-system"
	create            interaction = "create"
	update            interaction = "update"
	conditionalUpdate interaction = "conditional-update"
	patch             interaction = "patch"
	conditionalPatch  interaction = "conditional-patch"
	remove            interaction = "delete"
	conditionalDelete interaction = "conditional-delete"
)

// taskType is the one type of our own that people write.
const taskType = "Task"

// Types of the protocol and of the sets of codes and the questionnaires that it
// names, which are replaced by their ids.
const (
	definitionType = "PlanDefinition"
	setType        = "ValueSet"
	formType       = "Questionnaire"
)

// subscriptionType is what receivers of notifications ask for them with.
const subscriptionType = "Subscription"

// offer is what is served for one resource type.
type offer struct {
	typ      string
	received bool // a hospital may send it: create, update, patch and delete, each by condition too
	worked   bool // people may update and patch it, but it is never created from outside
	adopted  bool // part of the protocol: a new version may be sent to its id
	asked    bool // a receiver asks with it to be told: create, update, patch and delete, by id
}

// offers is the table that routes, bundle entries and the CapabilityStatement
// are made from, by type.
var offers = makeOffers()

func makeOffers() []offer {
	types := search.Types()
	for _, typ := range casework.Received {
		if !slices.Contains(types, typ) {
			types = append(types, typ)
		}
	}
	slices.Sort(types)
	out := make([]offer, 0, len(types))
	for _, typ := range types {
		out = append(out, offer{
			typ: typ, received: slices.Contains(casework.Received, typ), worked: typ == taskType,
			adopted: typ == definitionType || typ == setType || typ == formType, asked: typ == subscriptionType,
		})
	}
	return out
}

// offered finds what is served for a type.
func offered(typ string) (offer, bool) {
	i := slices.IndexFunc(offers, func(o offer) bool { return o.typ == typ })
	if i < 0 {
		return offer{}, false
	}
	return offers[i], true
}

// interactions lists what the type allows, in the order of the
// CapabilityStatement.
func (o offer) interactions() []interaction {
	out := []interaction{read, vread, historyInstance, historyType, searchType}
	if o.received {
		out = append(out, create, update, conditionalUpdate, patch, conditionalPatch, remove, conditionalDelete)
	}
	if o.asked {
		out = append(out, create, update, patch, remove)
	}
	if o.worked {
		out = append(out, patch)
	}
	if o.worked || o.adopted {
		out = append(out, update)
	}
	return out
}

func (o offer) allows(i interaction) bool { return slices.Contains(o.interactions(), i) }

// methods lists the HTTP methods of what lies at [base]/Type, or at
// [base]/Type/id when instance is set.
func (o offer) methods(instance bool) []string {
	out := []string{"GET", "HEAD"}
	if !instance && o.allows(create) {
		out = append(out, "POST")
	}
	if instance && o.allows(update) || !instance && o.allows(conditionalUpdate) {
		out = append(out, "PUT")
	}
	if instance && o.allows(patch) || !instance && o.allows(conditionalPatch) {
		out = append(out, "PATCH")
	}
	if instance && o.allows(remove) || !instance && o.allows(conditionalDelete) {
		out = append(out, "DELETE")
	}
	return out
}

// conditional reports whether a condition says what is meant, and not an id.
func (i interaction) conditional() bool {
	return i == conditionalUpdate || i == conditionalPatch || i == conditionalDelete
}

// changes reports whether what is there already is changed, so that If-Match
// has a meaning.
func (i interaction) changes() bool {
	return i.conditional() || i == update || i == patch || i == remove
}
