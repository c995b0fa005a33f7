// Package subscription is the published form of a Subscription: what one may
// ask for ([Read]), which events answer it ([Subscription.Match]), and the
// notification Bundles that tell of them ([Notice.Bundle]). It is pure: no clock,
// disk or network.
//
// # Numbers
//
// Each event of the outbox that a Subscription asks for gets the next number of
// that Subscription: 1, 2, 3 … without a gap. One event is one notification-event:
// its focus is the CarePlan, which is the case, and what else it concerns (Tasks,
// Flags) is its additional context. A receiver keeps to the numbers as a consumer
// of the stream keeps to casesequence: it drops what it has, and reads what is
// missing with $events.
//
// # What leaves
//
// Ids, and nothing else: no name, date of birth, address, code or text of a
// person. A payload of full-resource is refused.
//
// Sources: HL7 FHIR R4 (4.0.1) Subscription; HL7 "Subscriptions R5 Backport" 1.1
// (hl7.org/fhir/uv/subscriptions-backport): profiles backport-subscription,
// backport-subscription-notification-r4 and backport-subscription-status-r4.
package subscription
