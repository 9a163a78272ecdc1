package credential

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"encoding/base64"
	"encoding/json"
	"regexp"
	"strings"
	"time"

	"github.com/go-jose/go-jose/v4"

	"lampwright/locales"
	"lampwright/locales/problem"
)

// What Open Badges 3.0 calls things.
var (
	badgeContexts = []string{"https://www.w3.org/ns/credentials/v2", "https://purl.imsglobal.org/spec/ob/v3p0/context-3.0.3.json"}
	badgeTypes    = []string{"VerifiableCredential", "OpenBadgeCredential"}
)

const (
	profileType     = "Profile"
	subjectType     = "AchievementSubject"
	achievementType = "Achievement"
	identityType    = "IdentityObject"
)

// maxBadge is the longest badge that is read; ours are under 3 KB.
const maxBadge = 16 << 10

// Issuer is the programme as a stranger sees it.
type Issuer struct {
	URL  string // names the programme in every badge, for good
	Name string
	Keys string // where its key document is
}

// Badge is a sign-off as an Open Badges 3.0 credential. It is the payload of a
// JWT itself, so that its claims stand beside it (VC-JOSE-COSE).
type Badge struct {
	Context    []string     `json:"@context"`
	ID         string       `json:"id"`
	Type       []string     `json:"type"`
	Issuer     BadgeIssuer  `json:"issuer"`
	ValidFrom  string       `json:"validFrom"`
	ValidUntil string       `json:"validUntil,omitempty"`
	Subject    BadgeSubject `json:"credentialSubject"`

	Iss string `json:"iss"`
	JTI string `json:"jti"`
	Sub string `json:"sub"`
	Nbf int64  `json:"nbf"`
	Exp int64  `json:"exp,omitempty"`
}

// BadgeIssuer is who vouches for it.
type BadgeIssuer struct {
	ID   string   `json:"id"`
	Type []string `json:"type"`
	Name string   `json:"name"`
}

// BadgeSubject is whose it is: a UUID made from the sign-off's random id, and a
// name only if they asked for it.
type BadgeSubject struct {
	ID          string           `json:"id"`
	Type        []string         `json:"type"`
	Identifier  []BadgeIdentity  `json:"identifier,omitempty"`
	Achievement BadgeAchievement `json:"achievement"`
}

// BadgeIdentity is a name, as it is.
type BadgeIdentity struct {
	Type         string `json:"type"`
	IdentityHash string `json:"identityHash"` // may be plain text, and is
	IdentityType string `json:"identityType"`
	Hashed       bool   `json:"hashed"`
}

// BadgeAchievement is what was shown: the competency on a version of a set-up.
type BadgeAchievement struct {
	ID          string        `json:"id"`
	Type        []string      `json:"type"`
	Name        string        `json:"name"`
	Description string        `json:"description"`
	Criteria    BadgeCriteria `json:"criteria"`
}

// BadgeCriteria is what had to be done for it.
type BadgeCriteria struct {
	Narrative string `json:"narrative"`
}

// SignBadge makes the badge of a sign-off and signs it with ES256. name is the
// person's, "" to leave it out.
func SignBadge(s Signed, by Issuer, key *ecdsa.PrivateKey, name string, say locales.Speaker) (_ []byte, err error) {
	defer problem.In(&err, "credential.SignBadge")
	payload, err := json.Marshal(newBadge(s, by, name, say))
	if err != nil {
		return nil, err
	}
	if err := asProblem(checkBadge(payload, by.URL), "problem.badge"); err != nil {
		return nil, err
	}
	if key == nil || key.Curve != elliptic.P256() {
		return nil, problem.New(problem.Invalid, "problem.badge-key")
	}
	id, err := KeyID(by.Keys, &key.PublicKey)
	if err != nil {
		return nil, err
	}
	signer, err := jose.NewSigner(
		jose.SigningKey{Algorithm: jose.ES256, Key: jose.JSONWebKey{Key: key, KeyID: id}},
		(&jose.SignerOptions{}).WithType("JWT"))
	if err != nil {
		return nil, err
	}
	signed, err := signer.Sign(payload)
	if err != nil {
		return nil, err
	}
	token, err := signed.CompactSerialize()
	return []byte(token), err
}

func newBadge(s Signed, by Issuer, name string, say locales.Speaker) Badge {
	b := Badge{
		Context: badgeContexts, ID: s.Address, Type: badgeTypes,
		Issuer:    BadgeIssuer{by.URL, []string{profileType}, by.Name},
		ValidFrom: stamp(s.At), Nbf: s.At.Unix(),
		Subject: BadgeSubject{
			ID: "urn:uuid:" + uuid("badge", s.ID), Type: []string{subjectType},
			Achievement: BadgeAchievement{
				ID:          "urn:uuid:" + uuid("achievement", by.URL, s.Competency, s.SetupVersion),
				Type:        []string{achievementType},
				Name:        say.T("credential.badge.name", "Competency", s.Title, "Setup", s.SetupTag),
				Description: say.T("credential.badge.description", "Competency", s.Title, "Setup", s.SetupTag, "Version", s.SetupVersion),
				Criteria:    BadgeCriteria{say.T("credential.badge.criteria")},
			},
		},
	}
	if !s.Lapses.IsZero() {
		b.ValidUntil, b.Exp = stamp(s.Lapses), s.Lapses.Unix()
	}
	if name != "" {
		b.Subject.Identifier = []BadgeIdentity{{identityType, name, "name", false}}
	}
	b.Iss, b.JTI, b.Sub = b.Issuer.ID, b.ID, b.Subject.ID
	return b
}

// stamp is a time to the second, as nbf and exp are.
func stamp(t time.Time) string { return t.UTC().Truncate(time.Second).Format(time.RFC3339) }

// Keys are an issuer's public keys by their id.
type Keys map[string]*ecdsa.PublicKey

// KeyID names a key: where the key document is, and the key's thumbprint in it
// (RFC 7638).
func KeyID(document string, key *ecdsa.PublicKey) (string, error) {
	thumb, err := (&jose.JSONWebKey{Key: key}).Thumbprint(crypto.SHA256)
	return document + "#" + base64.RawURLEncoding.EncodeToString(thumb), err
}

// KeyDocument is the document that stands at the address of by.Keys: the public
// keys, those no longer in use too, for old badges (RFC 7517).
func KeyDocument(by Issuer, keys ...*ecdsa.PublicKey) (_ []byte, err error) {
	defer problem.In(&err, "credential.KeyDocument")
	set := jose.JSONWebKeySet{Keys: make([]jose.JSONWebKey, len(keys))}
	for i, key := range keys {
		if key == nil || key.Curve != elliptic.P256() {
			return nil, problem.New(problem.Invalid, "problem.badge-key")
		}
		id, err := KeyID(by.Keys, key)
		if err != nil {
			return nil, err
		}
		set.Keys[i] = jose.JSONWebKey{Key: key, KeyID: id, Use: "sig", Algorithm: string(jose.ES256)}
	}
	return json.Marshal(set)
}

// ReadKeys reads a key document that was fetched once and kept: whoever checks
// a badge pins these.
func ReadKeys(document []byte) (_ Keys, err error) {
	defer problem.In(&err, "credential.ReadKeys")
	var set jose.JSONWebKeySet
	if err := json.Unmarshal(document, &set); err != nil {
		return nil, problem.Wrap(err, problem.Invalid, "problem.badge-key")
	}
	keys := Keys{}
	for _, k := range set.Keys {
		public, ok := k.Key.(*ecdsa.PublicKey)
		if !ok || public.Curve != elliptic.P256() || k.KeyID == "" || keys[k.KeyID] != nil {
			return nil, problem.New(problem.Invalid, "problem.badge-key")
		}
		keys[k.KeyID] = public
	}
	return keys, nil
}

// CheckBadge checks a badge's form, who signed it, and that it holds now. Only
// the pinned keys of the pinned issuer count; what a badge says of its own key
// proves nothing.
func CheckBadge(token []byte, issuer string, pinned Keys, now time.Time) (_ Badge, err error) {
	defer problem.In(&err, "credential.CheckBadge")
	header, payload, err := opened(token)
	if err != nil {
		return Badge{}, asProblem(err, "problem.badge")
	}
	id, err := checkHeader(header)
	if err != nil {
		return Badge{}, asProblem(err, "problem.badge")
	}
	key := pinned[id]
	if key == nil {
		return Badge{}, problem.New(problem.Invalid, "problem.badge-signature")
	}
	signed, err := jose.ParseSignedCompact(string(token), []jose.SignatureAlgorithm{jose.ES256})
	if err == nil {
		_, err = signed.Verify(key)
	}
	if err != nil {
		return Badge{}, problem.Wrap(err, problem.Invalid, "problem.badge-signature")
	}
	if err := checkBadge(payload, issuer); err != nil {
		return Badge{}, asProblem(err, "problem.badge")
	}
	var b Badge
	if err := json.Unmarshal(payload, &b); err != nil {
		return Badge{}, problem.Wrap(err, problem.Invalid, "problem.badge", "Field", "", "Got", "…", "Expected", "JSON")
	}
	switch at := now.Unix(); {
	case at < b.Nbf:
		return Badge{}, problem.New(problem.Invalid, "problem.badge-early", "From", b.ValidFrom)
	case b.Exp != 0 && at >= b.Exp: // RFC 7519, 4.1.4: on or after
		return Badge{}, problem.New(problem.Invalid, "problem.badge-lapsed", "Until", b.ValidUntil)
	}
	return b, nil
}

// opened takes a token apart. Its letters are checked one by one: decoders skip
// line ends and unused bits, and then two tokens would be one badge.
func opened(token []byte) (header, payload []byte, err error) {
	if len(token) > maxBadge {
		return nil, nil, &broken{"", shown(len(token)), "≤ 16 KiB"}
	}
	if strings.ContainsAny(string(token), "\r\n") {
		return nil, nil, &broken{"", "CR, LF", "base64url"}
	}
	parts := strings.Split(string(token), ".")
	if len(parts) != 3 {
		return nil, nil, &broken{"", shown(len(parts)), "3"}
	}
	var raw [3][]byte
	for i, part := range parts {
		if raw[i], err = base64.RawURLEncoding.Strict().DecodeString(part); err != nil {
			return nil, nil, &broken{[]string{"header", "payload", "signature"}[i], "…", "base64url"}
		}
	}
	return raw[0], raw[1], nil
}

// checkHeader gives the id of the key: nothing else may stand in the header
// (Open Badges 3.0, JOSE header), least of all a key.
func checkHeader(header []byte) (key string, err error) {
	v, err := readJSON(header)
	if err != nil {
		return "", err
	}
	var r rules
	m := r.object(v, "header", []string{"alg", "kid", "typ"}, "")
	r.is(m["alg"], "header.alg", string(jose.ES256))
	r.is(m["typ"], "header.typ", "JWT")
	return r.text(m["kid"], "header.kid"), r.broke()
}

var uuidForm = regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`)

// checkBadge checks a payload against the rules. Keys beyond them are left
// alone, as RFC 7519, 4 wants it, but not what would say a rule otherwise.
func checkBadge(payload []byte, issuer string) error {
	v, err := readJSON(payload)
	if err != nil {
		return err
	}
	var r rules
	b := r.object(v, "", []string{"@context", "id", "type", "issuer", "validFrom", "credentialSubject", "iss", "jti", "nbf", "sub"})
	for _, old := range []string{"vc", "issuanceDate", "expirationDate", "proof"} {
		if _, ok := b[old]; ok {
			r.fail(old, "✓", "–")
		}
	}
	r.list(b["@context"], "@context", badgeContexts...)
	r.list(b["type"], "type", badgeTypes...)
	if id := r.text(b["id"], "id"); !webAddress(id) {
		r.fail("id", id, "https://…")
	}

	by := r.object(b["issuer"], "issuer", []string{"id", "type", "name"})
	if !webAddress(issuer) {
		r.fail("issuer.id", issuer, "https://…")
	}
	r.is(by["id"], "issuer.id", issuer)
	r.list(by["type"], "issuer.type", profileType)
	r.text(by["name"], "issuer.name")

	subject := r.object(b["credentialSubject"], "credentialSubject", []string{"id", "type", "achievement"})
	r.list(subject["type"], "credentialSubject.type", subjectType)
	if id, ok := strings.CutPrefix(r.text(subject["id"], "credentialSubject.id"), "urn:uuid:"); !ok || !uuidForm.MatchString(id) {
		r.fail("credentialSubject.id", subject["id"], "urn:uuid:…")
	}
	checkIdentity(&r, subject)
	checkAchievement(&r, subject["achievement"])

	same := func(claim, field string, wanted any) {
		if r.text(b[claim], claim) != wanted {
			r.fail(claim, b[claim], "= "+field)
		}
	}
	same("iss", "issuer.id", by["id"])
	same("jti", "id", b["id"])
	same("sub", "credentialSubject.id", subject["id"])
	from := sameTime(&r, b, "nbf", "validFrom")
	_, exp := b["exp"]
	_, until := b["validUntil"]
	switch {
	case exp != until:
		r.fail("exp", b["exp"], "⇔ validUntil")
	case exp:
		if to := sameTime(&r, b, "exp", "validUntil"); to <= from {
			r.fail("exp", b["exp"], "> nbf")
		}
	}
	return r.broke()
}

// sameTime checks that a claim in seconds is the same moment as a date.
func sameTime(r *rules, b map[string]any, claim, field string) int64 {
	date := r.text(b[field], field)
	t, err := time.Parse(time.RFC3339, date)
	if err != nil || t.Nanosecond() != 0 {
		r.fail(field, b[field], "2006-01-02T15:04:05Z")
	}
	n := r.whole(b[claim], claim)
	if n != t.Unix() {
		r.fail(claim, b[claim], "= "+field)
	}
	return n
}

func checkIdentity(r *rules, subject map[string]any) {
	v, ok := subject["identifier"]
	if !ok {
		return
	}
	list, ok := v.([]any)
	if !ok {
		r.fail("credentialSubject.identifier", v, "[…]")
	}
	for _, v := range list {
		const path = "credentialSubject.identifier"
		m := r.object(v, path, []string{"type", "identityHash", "identityType", "hashed"})
		r.is(m["type"], path+".type", identityType)
		r.text(m["identityHash"], path+".identityHash")
		r.text(m["identityType"], path+".identityType")
		r.boolean(m["hashed"], path+".hashed")
	}
}

func checkAchievement(r *rules, v any) {
	const path = "credentialSubject.achievement"
	a := r.object(v, path, []string{"id", "type", "name", "description", "criteria"})
	r.list(a["type"], path+".type", achievementType)
	if id := r.text(a["id"], path+".id"); !strings.Contains(id, ":") {
		r.fail(path+".id", id, "URI")
	}
	r.text(a["name"], path+".name")
	r.text(a["description"], path+".description")
	criteria := r.object(a["criteria"], path+".criteria", []string{"narrative"})
	r.text(criteria["narrative"], path+".criteria.narrative")
}
