package fhir

import (
	"testing"

	"github.com/stretchr/testify/require"
)

const ownBase = "https://own.example/fhir"

func TestParseRef(t *testing.T) {
	for in, want := range map[string]Ref{
		"Patient/1":                                     {Type: "Patient", ID: "1"},
		"Patient/a.b-C/_history/2":                      {Type: "Patient", ID: "a.b-C", Version: "2"},
		"Patient?identifier=s|1":                        {Type: "Patient", Query: "identifier=s|1"},
		ownBase + "/Task/t1":                            {Type: "Task", ID: "t1"},
		ownBase + "/Task/t1/_history/9":                 {Type: "Task", ID: "t1", Version: "9"},
		"https://own.example/fhirother/Task/t1":         {Foreign: "https://own.example/fhirother/Task/t1"},
		"https://ehr.example/fhir/Patient/1":            {Foreign: "https://ehr.example/fhir/Patient/1"},
		"http://own.example/fhir/Task/t1":               {Foreign: "http://own.example/fhir/Task/t1"},
		urn1:                                            {URN: urn1},
		"urn:uuid:0B5B3C52-6C0A-4B7E-9A53-1C6CE4A5A001": {URN: "urn:uuid:0B5B3C52-6C0A-4B7E-9A53-1C6CE4A5A001"},
		"urn:oid:2.16.840.1.113883":                     {URN: "urn:oid:2.16.840.1.113883"},
		"urn:x:y":                                       {Foreign: "urn:x:y"},
		"#p1":                                           {Contained: "p1"},
		"#":                                             {Container: true},
	} {
		got, err := ParseRef(in, ownBase)
		require.NoError(t, err, in)
		require.Equal(t, want, got, in)
		slash, err := ParseRef(in, ownBase+"/")
		require.NoError(t, err, in)
		require.Equal(t, got, slash, "a slash at the end of the base makes no difference")
		again, err := ParseRef(got.String(), ownBase)
		require.NoError(t, err, in)
		require.Equal(t, got, again, in)
	}
}

func TestParseRefRefuses(t *testing.T) {
	for _, in := range []string{
		"", "Patient", "Patient/", "/Patient/1", "Patient/1/", "patient/1", "Booking/1", "Patient/a b", "Patient/a_b", "Patient/1/2",
		"Patient/1/_history", "Patient/1/_history/", "Patient/1/history/2", "Patient?", "Booking?a=1", "Patient/1#x", "#a b", "#a_b",
		"urn:uuid:1", "urn:oid:x", "urn:oid:1", "../Patient/1", " Patient/1", "Patient/1\n", ownBase + "/", ownBase + "/metadata", "1:2",
	} {
		_, err := ParseRef(in, ownBase)
		require.ErrorIs(t, err, ErrReference, "%q", in)
	}
}

func TestRefOf(t *testing.T) {
	r := parsed(t, `{"resourceType":"Flag","status":"active","code":{"text":"x"},
		"subject":{"reference":"Patient/1","identifier":{"system":"s","value":"v"},"display":"M. Quandt"},
		"encounter":{"identifier":{"value":"e"}},"author":{"reference":"nowhere"}}`)
	ref, err := RefOf(r.Get("subject"), ownBase)
	require.NoError(t, err)
	require.Equal(t, Ref{Type: "Patient", ID: "1", Identifier: &Identifier{"s", "v"}, Display: "M. Quandt"}, ref)
	require.True(t, ref.IsLocal())
	ref, err = RefOf(r.Get("encounter"), ownBase)
	require.NoError(t, err)
	require.Equal(t, "e", ref.Identifier.Value)
	require.False(t, ref.IsLocal() || ref.IsZero())
	require.Empty(t, ref.String())
	_, err = RefOf(r.Get("author"), ownBase)
	require.ErrorIs(t, err, ErrReference)
	ref, err = RefOf(r.Get("period"), ownBase)
	require.NoError(t, err)
	require.True(t, ref.IsZero())
	require.Equal(t, "Task/1", Ref{Type: "Task", ID: "1", Version: "2"}.Unversioned().String())
}
