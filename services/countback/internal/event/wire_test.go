package event

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const plain = `{"id":"e-1","source":"http://countback.example/facility/north","specversion":"1.0",` +
	`"type":"example.countback.case.opened","subject":"CarePlan/c-1","time":"2026-11-02T09:30:00-06:00",` +
	`"datacontenttype":"application/json","dataschema":"http://countback.example/events/v1/case.schema.json",` +
	`"casesequence":1,"data":{"carePlan":"c-1","version":1,"state":"on-track","protocol":"http://countback.example/p|1"}}`

func TestDecode(t *testing.T) {
	for _, row := range []struct {
		name, old, new string
		ok             bool
	}{
		{"as sent", "", "", true},
		{"an attribute of a later time", `"id"`, `"traceparent":"00-ab-cd-01","partitionkey":3,"x":null,"id"`, true},
		{"an event of a later time", `case.opened"`, `case.renamed"`, true},
		{"time in lower case", `2026-11-02T09:30:00-06:00`, `2026-11-02t15:30:00z`, true},
		{"space around it", `{"id"`, " \n{\"id\"", true},
		{"data of a later time", `"version":1,`, `"version":1,"shape":"round",`, true},
		{"key in other case", `"id":`, `"ID":`, false},
		{"key twice", `"id":"e-1",`, `"id":"e-1","id":"e-2",`, false},
		{"key twice, one escaped", `"id":"e-1",`, `"id":"e-1","\u0069d":"e-2",`, false},
		{"text after it", `|1"}}`, `|1"}} {}`, false},
		{"sequence as text", `"casesequence":1`, `"casesequence":"1"`, false},
		{"sequence with a point", `"casesequence":1`, `"casesequence":1.5`, false},
		{"sequence zero", `"casesequence":1`, `"casesequence":0`, false},
		{"sequence beyond 32 bits", `"casesequence":1`, `"casesequence":2147483648`, false},
		{"no sequence", `"casesequence":1,`, ``, false},
		{"id as number", `"id":"e-1"`, `"id":1`, false},
		{"id null", `"id":"e-1"`, `"id":null`, false},
		{"no id", `"id":"e-1",`, ``, false},
		{"no time", `"time":"2026-11-02T09:30:00-06:00",`, ``, false},
		{"version 0.3", `"specversion":"1.0"`, `"specversion":"0.3"`, false},
		{"subject of another kind", `CarePlan/c-1`, `Patient/c-1`, false},
		{"subject with a path", `CarePlan/c-1`, `CarePlan/c-1/_history/1`, false},
		{"data as text", `"data":{`, `"data":"x","y":{`, false},
		{"no data", `"data":{`, `"y":{`, false},
		{"not UTF-8", `"id":"e-1"`, "\"id\":\"e-\xff\"", false},
		{"a list", `{"id"`, `[{"id"`, false},
		{"cut off", `|1"}}`, `|1"}`, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			body := strings.Replace(plain, row.old, row.new, 1)
			if row.old != "" {
				require.NotEqual(t, plain, body)
			}
			e, err := Decode([]byte(body))
			if !row.ok {
				require.ErrorIs(t, err, ErrInvalid)
				require.NotContains(t, err.Error(), "e-1", "the text may be logged")
				return
			}
			require.NoError(t, err)
			require.Equal(t, "e-1", e.ID)
			require.EqualValues(t, 1, e.CaseSequence)
			data, err := e.CaseData()
			require.NoError(t, err)
			require.Equal(t, "c-1", data.CarePlan)
		})
	}
	for _, body := range []string{"", "null", "7", "[]", "{}", `{"id"`, `{"id":}`, `{"id" "x"}`} {
		_, err := Decode([]byte(body))
		require.ErrorIs(t, err, ErrInvalid, body)
	}
}

// binary is the same event in binary mode; names and percent-encoding after
// the CloudEvents NATS protocol binding 1.0.2 (nats-protocol-binding.md).
func binary() map[string][]string {
	return map[string][]string{
		"ce-id": {"e-1"}, "ce-source": {"http://countback.example/facility/north"}, "ce-specversion": {"1.0"},
		"ce-type": {"example.countback.case.opened"}, "ce-subject": {"CarePlan/c-1"},
		"ce-time": {"2026-11-02T09:30:00-06:00"}, "ce-datacontenttype": {"application/json"},
		"ce-dataschema": {"http://countback.example/events/v1/case.schema.json"}, "ce-casesequence": {"1"},
	}
}

func TestFromMessage(t *testing.T) {
	want, err := Decode([]byte(plain))
	require.NoError(t, err)
	data := want.Data
	changed := func(change func(map[string][]string)) map[string][]string {
		h := binary()
		change(h)
		return h
	}
	for _, row := range []struct {
		name   string
		header map[string][]string
		body   string
		ok     bool
	}{
		{"structured", map[string][]string{"Content-Type": {"application/cloudevents+json"}}, plain, true},
		{"structured, other case and charset", map[string][]string{"content-TYPE": {"Application/CloudEvents+JSON; charset=utf-8"}}, plain, true},
		{"structured wins over ce- headers", changed(func(h map[string][]string) {
			h["Content-Type"] = []string{"application/cloudevents+json"}
			h["ce-id"] = []string{"other"}
		}), plain, true},
		{"binary", binary(), string(data), true},
		{"binary with the content type beside it", changed(func(h map[string][]string) { h["Content-Type"] = []string{"application/json"} }), string(data), true},
		{"binary, names in other case", changed(func(h map[string][]string) {
			for _, name := range []string{"ce-id", "ce-casesequence", "ce-time"} {
				h["Ce-"+strings.ToUpper(name[3:])] = h[name]
				delete(h, name)
			}
		}), string(data), true},
		{"binary, percent-encoded", changed(func(h map[string][]string) { h["ce-id"] = []string{"e%2D1"} }), string(data), true},
		{"binary, a name in two cases", changed(func(h map[string][]string) { h["CE-ID"] = []string{"e-1"} }), string(data), false},
		{"binary, a header twice", changed(func(h map[string][]string) { h["ce-id"] = []string{"e-1", "e-2"} }), string(data), false},
		{"binary, broken encoding", changed(func(h map[string][]string) { h["ce-id"] = []string{"e%2"} }), string(data), false},
		{"binary, no sequence", changed(func(h map[string][]string) { delete(h, "ce-casesequence") }), string(data), false},
		{"binary, data cut off", binary(), `{"carePlan":`, false},
		{"batch", map[string][]string{"Content-Type": {"application/cloudevents-batch+json"}}, "[" + plain + "]", false},
		{"other event format", map[string][]string{"Content-Type": {"application/cloudevents+avro"}}, plain, false},
		{"no header at all", nil, plain, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, err := FromMessage(row.header, []byte(row.body))
			if !row.ok {
				require.ErrorIs(t, err, ErrInvalid)
				return
			}
			require.NoError(t, err)
			require.True(t, want.Time.Equal(got.Time))
			got.Time = want.Time
			require.Equal(t, want, got)
		})
	}
}

// FuzzDecode: whatever comes in, Decode does not break; what it takes has the
// published form, and what Encode makes of that reads back the same.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(plain))
	f.Add([]byte(strings.Replace(plain, "case.opened", "case.newer", 1)))
	f.Add([]byte(strings.Replace(plain, `"id":"e-1"`, `"id":"e-1","ID":"e-2"`, 1)))
	f.Add([]byte(`{"id":"x","id":"y"}`))
	f.Add([]byte(`{"data":{"a":[[[[[]]]]]}}`))
	f.Add([]byte("{\"id\":\"\xff\"}"))
	f.Fuzz(func(t *testing.T, body []byte) {
		e, err := Decode(body)
		if err != nil {
			require.ErrorIs(t, err, ErrInvalid)
			return
		}
		require.NotEmpty(t, e.ID)
		require.NotEmpty(t, e.CaseID())
		require.Positive(t, e.CaseSequence)
		out, err := Encode(e)
		if err != nil {
			require.ErrorIs(t, err, ErrInvalid)
			return
		}
		again, err := Decode(out)
		require.NoError(t, err)
		require.True(t, e.Time.Equal(again.Time))
		require.JSONEq(t, string(e.Data), string(again.Data))
		again.Time, again.Data = e.Time, e.Data
		require.Equal(t, e, again)
	})
}
