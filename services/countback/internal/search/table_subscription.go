package search

import "example.org/countback/pkg/fhir"

// subscriptionTable has the parameters of a Subscription.
var subscriptionTable = map[string][]Param{
	"Subscription": rows(
		each(Token, "contact", "Subscription-contact", []string{"contact"}, func(e *extraction, n *fhir.Node) {
			e.token("contact", n.String("system"), n.String("value"))
		}),
		texts("criteria", "Subscription-criteria", "criteria"),
		codes("payload", "Subscription-payload", "", "channel", "payload"),
		codes("status", "Subscription-status", hl7+"subscription-status", "status"),
		codes("type", "Subscription-type", hl7+"subscription-channel-type", "channel", "type"),
		uris("url", "Subscription-url", "channel", "endpoint"),
	),
}
