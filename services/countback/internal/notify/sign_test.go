package notify

import (
	"encoding/base64"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The secret and the message of RFC 9421, B.1.5 and B.2.
const (
	rfcSecret = "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ=="
	rfcBody   = `{"hello": "world"}`
	rfcTarget = "https://example.com/foo?param=Value&Pet=dog"
)

func rfcRequest(t *testing.T) *http.Request {
	t.Helper()
	r, err := http.NewRequest(http.MethodPost, rfcTarget, strings.NewReader(rfcBody))
	require.NoError(t, err)
	r.Header.Set("Date", "Tue, 20 Apr 2021 02:07:55 GMT")
	r.Header.Set("Content-Type", "application/json")
	return r
}

// Published: RFC 9421, B.2.5 "Signing a Request Using hmac-sha256": the
// signature base and the signature, byte for byte.
func TestSignatureOfRFC9421(t *testing.T) {
	key, err := base64.StdEncoding.DecodeString(rfcSecret)
	require.NoError(t, err)
	components := []string{"date", "@authority", "content-type"}
	params := signatureParams(components, time.Unix(1618884473, 0), "test-shared-secret", false)
	require.Equal(t, `("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"`, params)
	text, err := signatureBase(rfcRequest(t), components, params)
	require.NoError(t, err)
	require.Equal(t, `"date": Tue, 20 Apr 2021 02:07:55 GMT
"@authority": example.com
"content-type": application/json
"@signature-params": ("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"`, text)
	mac, err := signature(rfcRequest(t), components, params, key)
	require.NoError(t, err)
	require.Equal(t, "pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=", base64.StdEncoding.EncodeToString(mac))
}

// Published: the components of RFC 9421, 2.2.1 to 2.2.3, over the same message;
// one that is not there is an error, 2.5.
func TestComponentsOfRFC9421(t *testing.T) {
	r := rfcRequest(t)
	for name, want := range map[string]string{
		"@method": "POST", "@authority": "example.com", "@target-uri": rfcTarget, "content-type": "application/json",
	} {
		got, err := component(r, name)
		require.NoError(t, err)
		require.Equal(t, want, got, name)
	}
	for _, name := range []string{"x-empty", "@status"} {
		_, err := component(r, name)
		require.ErrorIs(t, err, ErrSignature, name)
	}
}

// Published: RFC 9530, Appendix D, as RFC 9421, B.2: the sha-256 digest of {"hello": "world"}.
func TestDigestOfRFC9530(t *testing.T) {
	require.Equal(t, "sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:", digest([]byte(rfcBody)))
}

// A receiver that checks finds each thing that can be wrong.
func TestVerify(t *testing.T) {
	at := time.Unix(1800000000, 0)
	fresh := func() *http.Request {
		r := rfcRequest(t)
		require.NoError(t, sign(r, []byte(rfcBody), secret, at))
		return r
	}
	require.NoError(t, Verify(fresh(), []byte(rfcBody), rfcTarget, secret, at.Add(Fresh)))
	other := append([]byte("x"), secret...)
	for _, c := range []struct {
		name, body, target string
		key                []byte
		now                time.Time
		change             func(*http.Request)
	}{
		{name: "another body", body: `{"hello": "World"}`},
		{name: "another address", target: rfcTarget + "x"},
		{name: "another secret", key: other},
		{name: "long ago", now: at.Add(Fresh + time.Second)},
		{name: "from the future", now: at.Add(-Fresh - time.Second)},
		{name: "another method", change: func(r *http.Request) { r.Method = "PUT" }},
		{name: "another type", change: func(r *http.Request) { r.Header.Set("Content-Type", "text/plain") }},
		{name: "no signature", change: func(r *http.Request) { r.Header.Del("Signature") }},
		{name: "no input", change: func(r *http.Request) { r.Header.Del("Signature-Input") }},
		{name: "no digest", change: func(r *http.Request) { r.Header.Del("Content-Digest") }},
		{name: "another digest, with its body", body: "{}", change: func(r *http.Request) { r.Header.Set("Content-Digest", digest([]byte("{}"))) }},
		{name: "less is signed", change: func(r *http.Request) {
			params := signatureParams([]string{"@method"}, at, KeyID(secret), true)
			mac, err := signature(r, []string{"@method"}, params, secret)
			require.NoError(t, err)
			r.Header.Set("Signature-Input", Label+"="+params)
			r.Header.Set("Signature", Label+"=:"+base64.StdEncoding.EncodeToString(mac)+":")
		}},
		{name: "a later moment", change: func(r *http.Request) {
			r.Header.Set("Signature-Input", Label+"="+signatureParams(covered, at.Add(time.Second), KeyID(secret), true))
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := fresh()
			if c.change != nil {
				c.change(r)
			}
			body, target, key, now := rfcBody, rfcTarget, secret, at
			if c.body != "" {
				body = c.body
			}
			if c.target != "" {
				target = c.target
			}
			if c.key != nil {
				key = c.key
			}
			if !c.now.IsZero() {
				now = c.now
			}
			require.ErrorIs(t, Verify(r, []byte(body), target, key, now), ErrSignature)
		})
	}
}
