package credential

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/golang-jwt/jwt/v5"

	"lampwright/locales"
)

// later is while the badge holds.
var later = at.Add(time.Hour)

// maker is a programme with its key, and those who pinned it.
type maker struct {
	key    *ecdsa.PrivateKey
	id     string
	pinned Keys
}

func newMaker(t testing.TB) maker {
	t.Helper()
	m := maker{key: newKey(t)}
	document, err := KeyDocument(alderBay, &m.key.PublicKey)
	if err != nil {
		t.Fatal(err)
	}
	if m.pinned, err = ReadKeys(document); err != nil {
		t.Fatal(err)
	}
	for m.id = range m.pinned {
	}
	return m
}

func (m maker) badge(t testing.TB, name string) []byte {
	t.Helper()
	token, err := SignBadge(signed, alderBay, m.key, name, english())
	if err != nil {
		t.Fatal(err)
	}
	return token
}

// sign signs anything, by the other library.
func (m maker) sign(t testing.TB, header map[string]any, payload []byte) []byte {
	t.Helper()
	h, err := json.Marshal(header)
	if err != nil {
		t.Fatal(err)
	}
	text := base64.RawURLEncoding.EncodeToString(h) + "." + base64.RawURLEncoding.EncodeToString(payload)
	signature, err := jwt.SigningMethodES256.Sign(text, m.key)
	if err != nil {
		t.Fatal(err)
	}
	return []byte(text + "." + base64.RawURLEncoding.EncodeToString(signature))
}

func (m maker) header() map[string]any {
	return map[string]any{"alg": "ES256", "kid": m.id, "typ": "JWT"}
}

func payloadOf(t testing.TB, token []byte) []byte {
	t.Helper()
	payload, err := base64.RawURLEncoding.DecodeString(strings.Split(string(token), ".")[1])
	if err != nil {
		t.Fatal(err)
	}
	return payload
}

func TestBadge(t *testing.T) {
	m := newMaker(t)
	for name, person := range map[string]string{"badge.json": "", "badge-named.json": "Inés Ortega"} {
		var pretty bytes.Buffer
		if err := json.Indent(&pretty, payloadOf(t, m.badge(t, person)), "", "  "); err != nil {
			t.Fatal(err)
		}
		golden(t, name, append(pretty.Bytes(), '\n'))
	}
	for _, l := range locales.Languages {
		token, err := SignBadge(signed, alderBay, m.key, "", spoken().Speak(l.Tag))
		if err != nil {
			t.Fatal(err)
		}
		b, err := CheckBadge(token, alderBay.URL, m.pinned, later)
		if err != nil {
			t.Fatal(l.Tag, err)
		}
		if !strings.Contains(b.Subject.Achievement.Name, "Chair 12") {
			t.Errorf("%s: %s", l.Tag, b.Subject.Achievement.Name)
		}
	}
}

// What nothing but a JOSE library other than the one that made it knows.
func TestAnotherLibraryReadsTheBadge(t *testing.T) {
	m := newMaker(t)
	parsed, err := jwt.Parse(string(m.badge(t, "")), func(token *jwt.Token) (any, error) {
		if len(token.Header) != 3 || token.Header["kid"] != m.id || token.Header["typ"] != "JWT" {
			t.Errorf("header %v", token.Header)
		}
		return &m.key.PublicKey, nil
	}, jwt.WithValidMethods([]string{"ES256"}), jwt.WithIssuer(alderBay.URL), jwt.WithExpirationRequired(),
		jwt.WithTimeFunc(func() time.Time { return later }))
	if err != nil {
		t.Fatal(err)
	}
	claims := parsed.Claims.(jwt.MapClaims)
	from, err := claims.GetNotBefore()
	if err != nil || from.UTC().Format(time.RFC3339) != claims["validFrom"] {
		t.Errorf("nbf %v, validFrom %v", from, claims["validFrom"])
	}
	until, err := claims.GetExpirationTime()
	if err != nil || until.UTC().Format(time.RFC3339) != claims["validUntil"] {
		t.Errorf("exp %v, validUntil %v", until, claims["validUntil"])
	}
	if claims["jti"] != claims["id"] || claims["vc"] != nil {
		t.Errorf("jti %v, id %v, vc %v", claims["jti"], claims["id"], claims["vc"])
	}
}

func TestBadgeOfAnotherLibraryIsRead(t *testing.T) {
	m := newMaker(t)
	token := m.sign(t, m.header(), payloadOf(t, m.badge(t, "")))
	if _, err := CheckBadge(token, alderBay.URL, m.pinned, later); err != nil {
		t.Error(err)
	}
}

// A rule each, of Open Badges 3.0 (proof format, data model), VC-JOSE-COSE and
// RFC 7519. Each badge is signed by the right key.
func TestBrokenBadges(t *testing.T) {
	m := newMaker(t)
	good := payloadOf(t, m.badge(t, "Inés Ortega"))
	type object = map[string]any
	subject := func(b object) object { return b["credentialSubject"].(object) }
	achievement := func(b object) object { return subject(b)["achievement"].(object) }
	identity := func(b object) object { return subject(b)["identifier"].([]any)[0].(object) }
	for name, test := range map[string]struct {
		breaks func(header, badge object)
		field  string
	}{
		"another algorithm named":            {func(h, _ object) { h["alg"] = "ES384" }, "header.alg"},
		"no algorithm":                       {func(h, _ object) { h["alg"] = "none" }, "header.alg"},
		"a typ of its own":                   {func(h, _ object) { h["typ"] = "vc+jwt" }, "header.typ"},
		"no typ":                             {func(h, _ object) { delete(h, "typ") }, "header.typ"},
		"no kid":                             {func(h, _ object) { delete(h, "kid") }, "header.kid"},
		"a header more":                      {func(h, _ object) { h["x5u"] = "https://elsewhere.example" }, "header.x5u"},
		"critical extensions":                {func(h, _ object) { h["crit"] = []string{"b64"}; h["b64"] = true }, "header.b64"},
		"the credential wrapped in vc":       {func(_, b object) { b["vc"] = maps.Clone(b) }, "vc"},
		"a date of data model 1.1":           {func(_, b object) { b["issuanceDate"] = b["validFrom"] }, "issuanceDate"},
		"no contexts":                        {func(_, b object) { delete(b, "@context") }, "@context"},
		"contexts the wrong way round":       {func(_, b object) { slices.Reverse(b["@context"].([]any)) }, "@context"},
		"one context":                        {func(_, b object) { b["@context"] = badgeContexts[0] }, "@context"},
		"types the wrong way round":          {func(_, b object) { slices.Reverse(b["type"].([]any)) }, "type"},
		"another type":                       {func(_, b object) { b["type"] = []string{"VerifiableCredential"} }, "type"},
		"no id":                              {func(_, b object) { delete(b, "id"); delete(b, "jti") }, "id"},
		"an id that is no address":           {func(_, b object) { b["id"], b["jti"] = "17", "17" }, "id"},
		"another issuer":                     {func(_, b object) { b["issuer"].(object)["id"] = "https://elsewhere.example" }, "issuer.id"},
		"issuer an address only":             {func(_, b object) { b["issuer"] = alderBay.URL }, "issuer"},
		"issuer of no type":                  {func(_, b object) { delete(b["issuer"].(object), "type") }, "issuer.type"},
		"issuer without a name":              {func(_, b object) { b["issuer"].(object)["name"] = " " }, "issuer.name"},
		"iss and issuer.id apart":            {func(_, b object) { b["iss"] = "https://elsewhere.example" }, "iss"},
		"iss an object, as issuer.id":        {func(_, b object) { b["iss"] = object{"a": 1}; b["issuer"].(object)["id"] = object{"a": 1} }, "issuer.id"},
		"no iss":                             {func(_, b object) { delete(b, "iss") }, "iss"},
		"jti and id apart":                   {func(_, b object) { b["jti"] = "https://alder-bay.example/verify/other" }, "jti"},
		"sub and subject apart":              {func(_, b object) { b["sub"] = "urn:uuid:2ed6657d-e927-568b-95e1-2665a8aea6a2" }, "sub"},
		"nbf and validFrom apart":            {func(_, b object) { b["nbf"] = at.Unix() + 1 }, "nbf"},
		"nbf with a fraction":                {func(_, b object) { b["nbf"] = 1772460306.5 }, "nbf"},
		"nbf a text":                         {func(_, b object) { b["nbf"] = "1772460306" }, "nbf"},
		"no validFrom":                       {func(_, b object) { delete(b, "validFrom") }, "validFrom"},
		"validFrom with a fraction":          {func(_, b object) { b["validFrom"] = "2026-03-02T14:05:06.789Z" }, "validFrom"},
		"validFrom a day":                    {func(_, b object) { b["validFrom"] = "2026-03-02" }, "validFrom"},
		"exp without validUntil":             {func(_, b object) { delete(b, "validUntil") }, "exp"},
		"validUntil without exp":             {func(_, b object) { delete(b, "exp") }, "exp"},
		"exp and validUntil apart":           {func(_, b object) { b["exp"] = signed.Lapses.Unix() - 1 }, "exp"},
		"lapsed before it was signed":        {func(_, b object) { b["exp"], b["validUntil"] = at.Unix(), b["validFrom"] }, "exp"},
		"subject of another type":            {func(_, b object) { subject(b)["type"] = []string{"Person"} }, "credentialSubject.type"},
		"subject by mail":                    {func(_, b object) { subject(b)["id"], b["sub"] = "mailto:a@example.org", "mailto:a@example.org" }, "credentialSubject.id"},
		"subject in capitals":                {func(_, b object) { v := strings.ToUpper(b["sub"].(string)); subject(b)["id"], b["sub"] = v, v }, "credentialSubject.id"},
		"no achievement":                     {func(_, b object) { delete(subject(b), "achievement") }, "credentialSubject.achievement"},
		"achievement without id":             {func(_, b object) { delete(achievement(b), "id") }, "credentialSubject.achievement.id"},
		"achievement of no type":             {func(_, b object) { delete(achievement(b), "type") }, "credentialSubject.achievement.type"},
		"achievement without name":           {func(_, b object) { achievement(b)["name"] = "" }, "credentialSubject.achievement.name"},
		"achievement without words":          {func(_, b object) { delete(achievement(b), "description") }, "credentialSubject.achievement.description"},
		"achievement without criteria":       {func(_, b object) { delete(achievement(b), "criteria") }, "credentialSubject.achievement.criteria"},
		"criteria without narrative":         {func(_, b object) { achievement(b)["criteria"] = object{"id": "https://x.example"} }, "credentialSubject.achievement.criteria.narrative"},
		"name of another type":               {func(_, b object) { identity(b)["type"] = "Name" }, "credentialSubject.identifier.type"},
		"name that does not say if hashed":   {func(_, b object) { delete(identity(b), "hashed") }, "credentialSubject.identifier.hashed"},
		"an empty array":                     {func(_, b object) { achievement(b)["alignment"] = []any{} }, "credentialSubject.achievement.alignment"},
		"a null":                             {func(_, b object) { b["credentialStatus"] = nil }, "credentialStatus"},
		"a null in an array":                 {func(_, b object) { achievement(b)["tag"] = []any{"a", nil} }, "credentialSubject.achievement.tag[1]"},
		"keys in another case are not there": {func(_, b object) { b["ISS"] = b["iss"]; delete(b, "iss") }, "iss"},
	} {
		t.Run(name, func(t *testing.T) {
			header, badge := m.header(), object{}
			if err := json.Unmarshal(good, &badge); err != nil {
				t.Fatal(err)
			}
			badge["nbf"], badge["exp"] = at.Unix(), signed.Lapses.Unix()
			test.breaks(header, badge)
			payload, err := json.Marshal(badge)
			if err != nil {
				t.Fatal(err)
			}
			_, err = CheckBadge(m.sign(t, header, payload), alderBay.URL, m.pinned, later)
			if data := refused(t, err, "problem.badge"); data["Field"] != test.field {
				t.Errorf("got %v, expected a problem with %s", data, test.field)
			}
		})
	}

	for name, payload := range map[string]string{
		"a claim twice":  strings.Replace(string(good), `"iss":`, `"iss":"https://elsewhere.example","iss":`, 1),
		"not an object":  `["a"]`,
		"half of it":     string(good[:len(good)/2]),
		"two of them":    string(good) + string(good),
		"nested deep":    `{"a":` + strings.Repeat(`[`, 5000) + strings.Repeat(`]`, 5000) + `}`,
		"no valid UTF-8": strings.Replace(string(good), "Alder", "Alder\xff", 1),
		"nothing":        ``,
	} {
		t.Run(name, func(t *testing.T) {
			_, err := CheckBadge(m.sign(t, m.header(), []byte(payload)), alderBay.URL, m.pinned, later)
			refused(t, err, "problem.badge")
		})
	}
}

// An embedded jwk proves nothing, and neither does any key that is not pinned.
func TestBadgeOfAStranger(t *testing.T) {
	m, stranger := newMaker(t), newMaker(t)
	payload := payloadOf(t, m.badge(t, ""))
	public, err := json.Marshal(jose.JSONWebKey{Key: &stranger.key.PublicKey})
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKIXPublicKey(&m.key.PublicKey)
	if err != nil {
		t.Fatal(err)
	}
	hmac, err := jwt.NewWithClaims(jwt.SigningMethodHS256, jwt.MapClaims{"iss": alderBay.URL}).SignedString(secret)
	if err != nil {
		t.Fatal(err)
	}
	other := payloadOf(t, stranger.badge(t, "Another"))
	parts := strings.Split(string(m.badge(t, "")), ".")
	for name, test := range map[string]struct{ token, key string }{
		"with a kid of their own":            {string(stranger.sign(t, stranger.header(), payload)), "problem.badge-signature"},
		"with our key, by another name":      {string(m.sign(t, map[string]any{"alg": "ES256", "typ": "JWT", "kid": alderBay.Keys + "#other"}, payload)), "problem.badge-signature"},
		"with our kid":                       {string(stranger.sign(t, m.header(), payload)), "problem.badge-signature"},
		"with their key in the badge":        {string(stranger.sign(t, map[string]any{"alg": "ES256", "typ": "JWT", "jwk": json.RawMessage(public)}, payload)), "problem.badge"},
		"with our kid and their key":         {string(stranger.sign(t, map[string]any{"alg": "ES256", "typ": "JWT", "kid": m.id, "jwk": json.RawMessage(public)}, payload)), "problem.badge"},
		"our public key as a secret":         {hmac, "problem.badge"},
		"our signature under other words":    {parts[0] + "." + base64.RawURLEncoding.EncodeToString(other) + "." + parts[2], "problem.badge-signature"},
		"no signature":                       {parts[0] + "." + parts[1] + ".", "problem.badge-signature"},
		"two parts":                          {parts[0] + "." + parts[1], "problem.badge"},
		"a line end in it":                   {parts[0] + "." + parts[1] + "\n." + parts[2], "problem.badge"},
		"padding":                            {parts[0] + "." + parts[1] + "." + parts[2] + "==", "problem.badge"},
		"JSON serialization":                 {`{"payload":"` + parts[1] + `","protected":"` + parts[0] + `","signature":"` + parts[2] + `"}`, "problem.badge"},
		"nothing":                            {"", "problem.badge"},
		"more than anyone would ever sign":   {strings.Repeat("a", maxBadge+1), "problem.badge"},
		"signed for the curve but by nobody": {parts[0] + "." + parts[1] + "." + base64.RawURLEncoding.EncodeToString(make([]byte, 64)), "problem.badge-signature"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := CheckBadge([]byte(test.token), alderBay.URL, m.pinned, later)
			refused(t, err, test.key)
		})
	}
	if _, err := CheckBadge(m.badge(t, ""), "https://elsewhere.example", m.pinned, later); err == nil {
		t.Error("a badge counts for an issuer who did not make it")
	}
}

func TestEveryLetterOfABadgeCounts(t *testing.T) {
	m := newMaker(t)
	token := m.badge(t, "")
	try := func(i int, letter byte) {
		changed := bytes.Clone(token)
		changed[i] = letter
		if _, err := CheckBadge(changed, alderBay.URL, m.pinned, later); err == nil && letter != token[i] {
			t.Errorf("letter %d as %q is not noticed", i, letter)
		}
	}
	for i := range token {
		try(i, token[i]^1<<(i%7))
		if i+1 == len(token) || token[i+1] == '.' { // where some bits say nothing
			for letter := range byte(128) {
				try(i, letter)
			}
		}
	}
}

// RFC 7519: nbf is the first moment (4.1.5), exp the first after (4.1.4).
func TestWhenABadgeHolds(t *testing.T) {
	m := newMaker(t)
	token := m.badge(t, "")
	for name, test := range map[string]struct {
		now time.Time
		key string
	}{
		"a second before":           {at.Truncate(time.Second).Add(-time.Second), "problem.badge-early"},
		"the second it was signed":  {at.Truncate(time.Second), ""},
		"the last second":           {signed.Lapses.Add(-time.Second), ""},
		"the moment it lapses":      {signed.Lapses, "problem.badge-lapsed"},
		"that moment somewhere far": {signed.Lapses.In(time.FixedZone("", 14*3600)), "problem.badge-lapsed"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := CheckBadge(token, alderBay.URL, m.pinned, test.now)
			if test.key == "" && err != nil {
				t.Error(err)
			}
			if test.key != "" {
				refused(t, err, test.key)
			}
		})
	}
	forever := signed
	forever.Lapses = time.Time{}
	token, err := SignBadge(forever, alderBay, m.key, "", english())
	if err != nil {
		t.Fatal(err)
	}
	if b, err := CheckBadge(token, alderBay.URL, m.pinned, at.AddDate(100, 0, 0)); err != nil || b.Exp != 0 || b.ValidUntil != "" {
		t.Errorf("one that never lapses: %v %v %v", b.Exp, b.ValidUntil, err)
	}
}

// Two badges of one person cannot be told to be of one person, and nothing in
// them says who it is unless they asked.
func TestBadgeNamesNobody(t *testing.T) {
	m := newMaker(t)
	other := signed
	other.ID, other.Address = "zzzz", "https://alder-bay.example/verify/zzzz"
	token, err := SignBadge(other, alderBay, m.key, "", english())
	if err != nil {
		t.Fatal(err)
	}
	ids := map[string]bool{}
	for _, token := range [][]byte{m.badge(t, ""), m.badge(t, "Inés Ortega"), token} {
		b, err := CheckBadge(token, alderBay.URL, m.pinned, later)
		if err != nil {
			t.Fatal(err)
		}
		ids[b.Subject.ID] = true
	}
	if len(ids) != 2 {
		t.Errorf("subjects %v: expected one to a sign-off, whatever the name", ids)
	}
	if strings.Contains(string(payloadOf(t, m.badge(t, ""))), "Ortega") {
		t.Error("a name nobody asked for")
	}
}

func TestBadgeThatCannotBeMade(t *testing.T) {
	m := newMaker(t)
	wide, err := ecdsa.GenerateKey(elliptic.P384(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	for name, test := range map[string]struct {
		change func(*Signed, *Issuer)
		key    *ecdsa.PrivateKey
		said   string
	}{
		"no key":                     {func(*Signed, *Issuer) {}, nil, "problem.badge-key"},
		"a key on another curve":     {func(*Signed, *Issuer) {}, wide, "problem.badge-key"},
		"no address":                 {func(s *Signed, _ *Issuer) { s.Address = "" }, m.key, "problem.badge"},
		"an address that is no page": {func(s *Signed, _ *Issuer) { s.Address = "/verify/q3k7" }, m.key, "problem.badge"},
		"no issuer":                  {func(_ *Signed, i *Issuer) { i.URL = "" }, m.key, "problem.badge"},
		"an issuer without a name":   {func(_ *Signed, i *Issuer) { i.Name = "" }, m.key, "problem.badge"},
		"lapsed when it was signed":  {func(s *Signed, _ *Issuer) { s.Lapses = s.At }, m.key, "problem.badge"},
	} {
		t.Run(name, func(t *testing.T) {
			s, i := signed, alderBay
			test.change(&s, &i)
			_, err := SignBadge(s, i, test.key, "", english())
			refused(t, err, test.said)
		})
	}
}

func TestKeyDocument(t *testing.T) {
	old, now := newKey(t), newKey(t)
	document, err := KeyDocument(alderBay, &now.PublicKey, &old.PublicKey)
	if err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{`"d"`, `"k"`, `null`} {
		if strings.Contains(string(document), secret) {
			t.Errorf("%s in %s", secret, document)
		}
	}
	keys, err := ReadKeys(document)
	if err != nil || len(keys) != 2 {
		t.Fatalf("%d keys, %v", len(keys), err)
	}
	for id := range keys {
		if !strings.HasPrefix(id, alderBay.Keys+"#") {
			t.Errorf("key %s is not where its id says", id)
		}
	}
	token, err := SignBadge(signed, alderBay, old, "", english())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := CheckBadge(token, alderBay.URL, keys, later); err != nil {
		t.Errorf("a badge of the key before: %v", err)
	}
	private, err := json.Marshal(jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: now, KeyID: "a"}}})
	if err != nil {
		t.Fatal(err)
	}
	for name, document := range map[string]string{
		"a private key":           string(private),
		"a key without an id":     `{"keys":[{"kty":"EC","crv":"P-256","x":"f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU","y":"x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0"}]}`,
		"a point off the curve":   `{"keys":[{"kid":"a","kty":"EC","crv":"P-256","x":"f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU","y":"f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU"}]}`,
		"a secret":                `{"keys":[{"kid":"a","kty":"oct","k":"AAAA"}]}`,
		"not a document":          `<html>`,
		"the same id on two keys": `{"keys":[` + twice + `,` + twice + `]}`,
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ReadKeys([]byte(document))
			refused(t, err, "problem.badge-key")
		})
	}
	if _, err := KeyDocument(alderBay, nil); err == nil {
		t.Error("a document of no key")
	}
}

// The point is that of RFC 7515, A.3.
const twice = `{"kid":"a","kty":"EC","crv":"P-256","x":"f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU","y":"x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0"}`

func FuzzCheckBadge(f *testing.F) {
	m := newMaker(f)
	f.Add(payloadOf(f, m.badge(f, "Inés Ortega")))
	f.Add([]byte(`{"iss":{},"issuer":{"id":{}}}`))
	f.Fuzz(func(t *testing.T, payload []byte) {
		_, _ = CheckBadge(m.sign(t, m.header(), payload), alderBay.URL, m.pinned, later)
		_, _ = CheckBadge(payload, alderBay.URL, m.pinned, later)
	})
}

func BenchmarkSignBadge(b *testing.B) {
	key, say := newKey(b), english()
	for b.Loop() {
		if _, err := SignBadge(signed, alderBay, key, "", say); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCheckBadge(b *testing.B) {
	m := newMaker(b)
	token := m.badge(b, "")
	for b.Loop() {
		if _, err := CheckBadge(token, alderBay.URL, m.pinned, later); err != nil {
			b.Fatal(err)
		}
	}
}
