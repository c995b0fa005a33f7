package notify

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Label of our signature, and how old one may be before a receiver that follows
// our advice refuses it.
const (
	Label = "countback"
	Fresh = 5 * time.Minute
)

// minSecret is the least length of a secret: that of the digest (RFC 2104, 3).
const minSecret = sha256.Size

// ErrSignature says that a notification was not signed with the secret, or long
// ago.
var ErrSignature = errors.New("not signed as it must be")

// KeyID names a secret without giving it away, so that a receiver who knows two
// during a change of secrets finds the right one.
func KeyID(secret []byte) string {
	h := sha256.Sum256(append([]byte("countback key id\x00"), secret...))
	return hex.EncodeToString(h[:8])
}

// covered are the components that are signed, in order.
var covered = []string{"@method", "@target-uri", "content-digest", "content-type"}

// digest is the Content-Digest of a body (RFC 9530, 2).
func digest(body []byte) string {
	h := sha256.Sum256(body)
	return "sha-256=:" + base64.StdEncoding.EncodeToString(h[:]) + ":"
}

// sign adds Content-Digest, Signature-Input and Signature to a request.
func sign(r *http.Request, body, secret []byte, at time.Time) error {
	r.Header.Set("Content-Digest", digest(body))
	params := signatureParams(covered, at, KeyID(secret), true)
	mac, err := signature(r, covered, params, secret)
	if err != nil {
		return err
	}
	r.Header.Set("Signature-Input", Label+"="+params)
	r.Header.Set("Signature", Label+"=:"+base64.StdEncoding.EncodeToString(mac)+":")
	return nil
}

// signatureParams are the covered components with the parameters of the
// signature (RFC 9421, 2.3).
func signatureParams(components []string, created time.Time, keyID string, alg bool) string {
	out := `("` + strings.Join(components, `" "`) + `");created=` + strconv.FormatInt(created.Unix(), 10) + `;keyid="` + keyID + `"`
	if alg {
		out += `;alg="hmac-sha256"`
	}
	return out
}

// signature is the HMAC over the signature base (RFC 9421, 2.5 and 3.3.3).
func signature(r *http.Request, components []string, params string, secret []byte) ([]byte, error) {
	base, err := signatureBase(r, components, params)
	if err != nil {
		return nil, err
	}
	mac := hmac.New(sha256.New, secret)
	mac.Write([]byte(base))
	return mac.Sum(nil), nil
}

func signatureBase(r *http.Request, components []string, params string) (string, error) {
	var b strings.Builder
	for _, c := range components {
		value, err := component(r, c)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(&b, "%q: %s\n", c, value)
	}
	b.WriteString(`"@signature-params": ` + params)
	return b.String(), nil
}

// component is the value of one component of a request (RFC 9421, 2.1 and 2.2).
func component(r *http.Request, name string) (string, error) {
	switch name {
	case "@method":
		return r.Method, nil
	case "@target-uri":
		return r.URL.String(), nil
	case "@authority":
		return strings.ToLower(r.Host), nil
	}
	values := r.Header.Values(name)
	if strings.HasPrefix(name, "@") || len(values) == 0 {
		return "", fmt.Errorf("%w: there is no component %q", ErrSignature, name)
	}
	for n := range values {
		values[n] = strings.TrimSpace(values[n])
	}
	return strings.Join(values, ", "), nil
}

// Verify checks a notification as its receiver: that the body is the one that
// was signed, by whom has the secret, for this address, and not long before now.
// target is the endpoint as the Subscription names it: behind a proxy, the
// request itself does not say it.
func Verify(r *http.Request, body []byte, target string, secret []byte, now time.Time) error {
	input, ok := strings.CutPrefix(r.Header.Get("Signature-Input"), Label+"=")
	if !ok {
		return fmt.Errorf("%w: Signature-Input", ErrSignature)
	}
	_, rest, _ := strings.Cut(input, ";created=")
	text, _, _ := strings.Cut(rest, ";")
	seconds, err := strconv.ParseInt(text, 10, 64)
	created := time.Unix(seconds, 0)
	if err != nil || input != signatureParams(covered, created, KeyID(secret), true) {
		return fmt.Errorf("%w: what is signed, by which key or how", ErrSignature)
	}
	if age := now.Sub(created); age > Fresh || age < -Fresh {
		return fmt.Errorf("%w: the moment", ErrSignature)
	}
	sent, ok := strings.CutPrefix(r.Header.Get("Signature"), Label+"=:")
	mac, err := base64.StdEncoding.DecodeString(strings.TrimSuffix(sent, ":"))
	if !ok || err != nil {
		return fmt.Errorf("%w: Signature", ErrSignature)
	}
	seen := r.Clone(r.Context())
	if seen.URL, err = url.Parse(target); err != nil {
		return fmt.Errorf("%w: the endpoint is no address", ErrSignature)
	}
	want, err := signature(seen, covered, input, secret)
	switch {
	case err != nil:
		return err
	case !hmac.Equal(mac, want):
		return fmt.Errorf("%w: Signature", ErrSignature)
	case r.Header.Get("Content-Digest") != digest(body):
		return fmt.Errorf("%w: Content-Digest", ErrSignature)
	}
	return nil
}
