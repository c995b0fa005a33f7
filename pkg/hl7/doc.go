// Package hl7 reads and writes HL7 version 2 messages in their vertical-bar
// encoding (ER7), as far as scheduling messages need it. It is pure.
//
// # What it understands
//
// A message is segments, each ended by a carriage return (a line feed, or both,
// is taken as well). A segment is fields, a field repetitions, a repetition
// components, a component subcomponents; which characters separate them, MSH
// says itself. All of these count from 1, as the standard writes them: PID-3.4.
//
// Values are given decoded: \F\ \S\ \T\ \R\ \E\ and \P\ are the separators
// themselves, \Xhh…\ is bytes, \.br\ is a line break, and the marks of
// highlighting \H\ and \N\ are left out. Any other escape sequence, and an escape
// character that begins none, stay as they were sent.
//
// The character set is what MSH-18 says: UTF-8 (also where it says nothing or
// ASCII, which is part of it) or ISO 8859-1.
//
// # Faults
//
// A [Fault] names segment, its number and field, and a code of table 0357; never
// what was sent, so that it may be logged.
//
// Source: HL7 version 2.5.1, chapter 2 (control), from memory; tables 0357 and
// 0396 as published with FHIR R4.
package hl7
