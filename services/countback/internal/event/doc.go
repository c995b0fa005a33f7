// Package event is the published form of what happens to a case: names,
// subjects, the CloudEvents 1.0 envelope and the two shapes of data. It is
// pure: it reads no clock, disk or network, so that whoever writes an event
// and whoever relays or receives one use the same words.
//
// Data holds ids, versions, codes and dates only. The New functions check the
// form of every member (an id, a code, a date), so that a name, an address, a
// diagnosis or free text cannot slip into a message. A hold is told by its
// Flag's id and category, not by its code, because some of those codes say
// what a person suffers from. Whoever may know more reads it from the FHIR API.
//
// Sources: CloudEvents 1.0.2, its JSON format and its NATS protocol binding
// (github.com/cloudevents/spec); the FHIR R4 id and date datatypes
// (hl7.org/fhir/R4/datatypes.html).
package event
