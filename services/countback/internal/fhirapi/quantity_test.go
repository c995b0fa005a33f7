package fhirapi

import (
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestSearchByValue searches records by quantities, by a code together with a
// value, by the words of a code and by the codes of a value set.
func TestSearchByValue(t *testing.T) {
	h := open(t)
	observation := func(code, display, value string) {
		h.must(201, "POST", root+"/Observation", `{"resourceType":"Observation","status":"final","code":{"coding":[{"system":"http://loinc.org","code":"`+
			code+`","display":"`+display+`"}],"text":"Canary value"},`+value+`}`)
	}
	const ucum = `"system":"http://unitsofmeasure.org","code":`
	observation("2160-0", "Créatinine", `"valueQuantity":{"value":1.8,"unit":"mg/dL",`+ucum+`"mg/dL"}`)
	observation("718-7", "Haemoglobin", `"valueQuantity":{"value":11.25,"unit":"grams",`+ucum+`"g/dL"}`)
	observation("85354-9", "Pressure", `"component":[{"code":{"coding":[{"code":"8480-6"}]},"valueQuantity":{"value":128,`+ucum+`"mm[Hg]"}}]`)
	observation("x", "Ex", `"valueString":"canary high"`)
	observation("y", "Why", `"valueCodeableConcept":{"coding":[{"system":"s","code":"yes"}],"text":"Quite so"}`)
	for query, want := range map[string]string{
		"value-quantity=gt1.5":                                               "2",
		"value-quantity=gt1.5|http://unitsofmeasure.org|mg/dL":               "1",
		"value-quantity=gt1.5|http://other.example|mg/dL":                    "0",
		"value-quantity=11.25||grams":                                        "1",
		"value-quantity=11.4":                                                "0",
		"value-quantity=11.2,1.8||mg/dL":                                     "1",
		"value-quantity=11,1.8||mg/dL":                                       "2",
		"value-quantity=le1.8":                                               "1",
		"value-quantity:missing=true":                                        "3",
		"component-value-quantity=ge128":                                     "1",
		"combo-value-quantity=gt1":                                           "3",
		"code-value-quantity=http://loinc.org|2160-0$gt1.5":                  "1",
		"code-value-quantity=http://loinc.org|2160-0$gt2":                    "0",
		"code-value-quantity=2160-0$gt2,718-7$lt12||g/dL":                    "1",
		"code-value-quantity=718-7$1.8":                                      "0",
		"code-value-quantity:missing=false":                                  "2",
		"code-value-string=x$CANARY":                                         "1",
		"code-value-concept=y$s|yes":                                         "1",
		"code-value-concept=y$s|no":                                          "0",
		"code:text=creat":                                                    "1",
		"code:text=canary":                                                   "5",
		"code:text=value":                                                    "0",
		"value-concept:text=quite":                                           "1",
		"code:in=http://countback.example/fhir/ValueSet/body-weight":         "0",
		"code:not-in=http://countback.example/fhir/ValueSet/body-weight":     "5",
		"status:not=final&code-value-quantity=718-7$lt12":                    "0",
		"_has:Observation:subject:code-value-quantity=718-7$lt12&_id=canary": "0",
	} {
		typ := "Observation"
		if query[0] == '_' {
			typ = "Patient"
		}
		r := h.must(200, "GET", root+"/"+typ+"?"+url.PathEscape(query), "", "Prefer", "handling=strict")
		require.Equal(t, want, r.String("total"), query)
		b := h.must(200, "POST", root, bundleOf("batch", entry("", "GET", typ+"?"+url.PathEscape(query), "")))
		require.Equal(t, want, b.String("entry", "resource", "total"), "in a batch: "+query)
	}
	observation("29463-7", "Weight", `"valueQuantity":{"value":70}`)
	require.Equal(t, "1", h.must(200, "GET", root+"/Observation?code:in=http://countback.example/fhir/ValueSet/body-weight", "").String("total"))
	for query, text := range map[string]string{
		"value-quantity=high":                      "search parameter value-quantity: not a valid quantity value",
		"code-value-quantity=718-7":                "search parameter code-value-quantity: is code$value-quantity",
		"code-value-quantity=718-7$high":           "search parameter code-value-quantity: not a valid quantity value for value-quantity",
		"status:text=final":                        "search parameter status: this modifier is not supported",
		"code:in=http://a.example/ValueSet/canary": "search parameter code: no value set with this url is held here",
		"code:in=http://countback.example/fhir/ValueSet/total-knee-replacement": "search parameter code: the value set does not list its codes one by one",
	} {
		_, _, told := h.must(400, "GET", root+"/Observation?"+url.PathEscape(query), "").issue()
		require.Contains(t, told, text, query)
	}
}
