package fhirapi

import (
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// mediaType is what every response with a body has.
const mediaType = "application/fhir+json"

// jsonTypes are the media types that mean FHIR in JSON.
var jsonTypes = []string{mediaType, "application/json", "text/json"}

// formats are the values of _format that mean JSON. A plus sign that was not
// escaped arrives as a blank.
var formats = append([]string{"json", "application/fhir json"}, jsonTypes...)

const formatParam = "_format"

// fhirVersions are the values of the media type parameter fhirVersion that
// mean R4. Source: HL7 FHIR R4 (4.0.1), RESTful API, "FHIR Version Parameter".
var fhirVersions = []string{"", "4.0", "4.0.1"}

// acceptable refuses a request that cannot be answered in JSON. It runs before
// anything is carried out.
func acceptable(h http.Header, query url.Values) error {
	if wanted := query[formatParam]; len(wanted) > 0 {
		if slices.Contains(formats, strings.TrimSpace(wanted[0])) {
			return nil
		}
		return ofParameter(formatParam, casework.Refuse(errAccept, fhir.CodeNotSupported, "",
			"_format asks for something else than JSON: only application/fhir+json can be given"))
	}
	ranges := h.Values("Accept")
	if len(ranges) == 0 {
		return nil
	}
	for r := range strings.SplitSeq(strings.Join(ranges, ","), ",") {
		if acceptsJSON(r) {
			return nil
		}
	}
	return casework.Refuse(errAccept, fhir.CodeNotSupported, "",
		"Accept asks for something else than FHIR R4 in JSON: only application/fhir+json (fhirVersion 4.0) can be given, no XML")
}

func acceptsJSON(mediaRange string) bool {
	if strings.TrimSpace(mediaRange) == "" {
		return false
	}
	typ, params, err := mime.ParseMediaType(mediaRange)
	if err != nil {
		return false
	}
	if q, err := strconv.ParseFloat(params["q"], 64); err == nil && q == 0 {
		return false
	}
	wild := typ == "*/*" || typ == "application/*" || typ == "text/*"
	return (wild || slices.Contains(jsonTypes, typ)) && slices.Contains(fhirVersions, params["fhirversion"])
}

// bodyIsJSON refuses a body that is not FHIR R4 in JSON, in UTF-8, as it is.
func bodyIsJSON(h http.Header) error {
	return bodyIs(h, jsonTypes, "application/fhir+json")
}

// patchType is the media type of a JSON Patch (RFC 6902). A FHIRPath Patch is a
// resource, and has the media type of one.
const (
	patchType   = "application/json-patch+json"
	acceptPatch = patchType + ", " + mediaType
)

// bodyIsPatch refuses a body that is no patch.
func bodyIsPatch(h http.Header) error {
	return bodyIs(h, append([]string{patchType}, jsonTypes...), patchType+" or, for a FHIRPath Patch, "+mediaType)
}

// bodyIsForm refuses a body that is not an HTML form, as _search takes one.
func bodyIsForm(h http.Header) error {
	return bodyIs(h, []string{"application/x-www-form-urlencoded"}, "application/x-www-form-urlencoded")
}

func bodyIs(h http.Header, types []string, name string) error {
	refuse := func(text string) error { return casework.Refuse(errMediaType, fhir.CodeNotSupported, "", text) }
	if enc := h.Get("Content-Encoding"); enc != "" && !strings.EqualFold(enc, "identity") {
		return refuse("Content-Encoding: a compressed body is not taken; send it as it is")
	}
	sent := h.Get("Content-Type")
	if sent == "" {
		return refuse("Content-Type is missing: send " + name)
	}
	typ, params, err := mime.ParseMediaType(sent)
	switch {
	case err != nil || !slices.Contains(types, typ):
		return refuse("Content-Type: only " + name + " is taken here, no XML and nothing else")
	case params["charset"] != "" && !strings.EqualFold(params["charset"], "utf-8"):
		return refuse("Content-Type: only UTF-8 is taken, no other charset")
	case !slices.Contains(fhirVersions, params["fhirversion"]):
		return refuse("Content-Type: only FHIR R4 is taken (fhirVersion 4.0)")
	}
	return nil
}

// preferences are what the header Prefer asks for.
type preferences struct {
	returns  string // minimal, representation or OperationOutcome; empty: as usual
	handling string // strict, lenient; empty: as configured
}

// preferred reads Prefer; what it does not know it ignores, as RFC 7240 says.
func preferred(h http.Header) preferences {
	var p preferences
	for part := range strings.FieldsFuncSeq(strings.Join(h.Values("Prefer"), ","), func(r rune) bool { return r == ',' || r == ';' }) {
		name, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		value = strings.Trim(strings.TrimSpace(value), `"`)
		switch strings.ToLower(strings.TrimSpace(name)) {
		case "return":
			if p.returns == "" && slices.Contains([]string{"minimal", "representation", "OperationOutcome"}, value) {
				p.returns = value
			}
		case "handling":
			if p.handling == "" && (value == "strict" || value == "lenient") {
				p.handling = value
			}
		}
	}
	return p
}
