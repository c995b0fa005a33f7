// Package notify sends notifications to those who subscribed: one HTTP POST each,
// signed, to the endpoint that the Subscription names.
//
// # What it promises
//
// What is to be sent, and how far each receiver is, are rows of the database
// (package casework numbers the events and keeps the rows). An event is sent until
// the receiver answers 2xx, so it comes at least once, in the order of its number,
// which keeps the order of each case. A crash between the answer and the row sends
// it again, with the same number.
//
// Each receiver has a goroutine of its own while there is something for it: one
// that is slow or dead holds up nobody else, and never what comes in.
//
// # Signature
//
// Signature-Input and Signature are those of RFC 9421 with hmac-sha256 over the
// method, the target URI, the content type and the Content-Digest (RFC 9530) of
// the body, and the moment at which it was signed. Of both RFCs this is the part
// that is needed to sign, and [Verify] shows how a receiver checks it.
//
// # Where it goes
//
// The address that a name leads to is judged when the connection is made, so that
// a name which leads elsewhere the second time gains nothing. No proxy is used and
// no redirect is followed.
package notify
