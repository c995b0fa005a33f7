package fhir

import "strings"

// subsetted marks a resource that is not complete, so that nobody sends it back.
//
// Source: HL7 FHIR R4 (4.0.1), Search, "Summary".
const subsetted = `{"system":"http://terminology.hl7.org/CodeSystem/v3-ObservationValue","code":"SUBSETTED"}`

// Subset returns the resource with only those top-level elements that keep wants,
// each as it is, and marked as incomplete in meta.tag. resourceType, id and meta
// stay in any case.
func (r *Resource) Subset(keep func(element string) bool) []byte {
	out := []byte(`{"resourceType":` + jsonString(r.Type))
	meta := false
	for name, n := range r.tree.Members() {
		element := strings.TrimPrefix(name, "_")
		if name == "resourceType" || element != "id" && element != "meta" && !keep(element) {
			continue
		}
		out = append(append(append(out, ','), jsonString(name)...), ':')
		if name == "meta" {
			meta = true
			out = append(out, r.tagged(n)...)
			continue
		}
		out = append(out, r.Bytes(n)...)
	}
	if !meta {
		out = append(out, `,"meta":{"tag":[`+subsetted+`]}`...)
	}
	return append(out, '}')
}

// tagged is a meta with the mark, behind the tags that it has.
func (r *Resource) tagged(meta *Node) []byte {
	out := []byte("{")
	done := false
	for name, n := range meta.Members() {
		if len(out) > 1 {
			out = append(out, ',')
		}
		value := string(r.Bytes(n))
		if name == "tag" {
			done = true
			value = strings.TrimSuffix(value, "]") + "," + subsetted + "]"
		}
		out = append(append(append(out, jsonString(name)...), ':'), value...)
	}
	if !done {
		if len(out) > 1 {
			out = append(out, ',')
		}
		out = append(out, `"tag":[`+subsetted+`]`...)
	}
	return append(out, '}')
}
