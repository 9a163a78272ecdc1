package server

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/pquerna/otp/totp"
	"golang.org/x/crypto/argon2"

	"lampwright/locales/problem"
	"lampwright/server/record"
)

// The cost of one hash (argon2id), and how many may run at once: memory is
// bounded whatever arrives.
const (
	hashMemory   = 19 << 10 // KiB
	hashTime     = 2
	hashLength   = 32
	hashesAtOnce = 2
	hashWait     = 5 * time.Second
)

// HashSecret hashes a PIN or password into the usual PHC form.
func HashSecret(secret string) string {
	salt := make([]byte, 16)
	rand.Read(salt) //nolint:errcheck // it never fails
	sum := argon2.IDKey([]byte(secret), salt, hashTime, hashMemory, 1, hashLength)
	e := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=1$%s$%s", argon2.Version, hashMemory, hashTime, e.EncodeToString(salt), e.EncodeToString(sum))
}

func matches(secret, phc string) bool {
	f := strings.Split(phc, "$")
	if len(f) != 6 {
		return false
	}
	var memory, rounds uint32
	if _, err := fmt.Sscanf(f[3], "m=%d,t=%d,p=1", &memory, &rounds); err != nil || memory > 1<<20 || rounds > 16 {
		return false
	}
	salt, err1 := base64.RawStdEncoding.DecodeString(f[4])
	want, err2 := base64.RawStdEncoding.DecodeString(f[5])
	if err1 != nil || err2 != nil || len(want) == 0 {
		return false
	}
	got := argon2.IDKey([]byte(secret), salt, rounds, memory, 1, uint32(len(want)))
	return subtle.ConstantTimeCompare(got, want) == 1
}

// nobody is hashed against where there is no such person, so that the answer
// takes as long.
var nobody = HashSecret(rand.Text())

// Tries allowed in the window: for one account, and from one address.
const (
	triesAccount = 5
	triesSource  = 40
	triesWindow  = 15 * time.Minute
)

// After so many wrong secrets an account, there or not, stays shut until
// someone lets it in again, or for a month: a PIN has few digits, and whoever
// guesses has many addresses and much time.
const (
	mostMisses = 10
	shutFor    = 30 * 24 * time.Hour
)

// prove checks a secret. It counts the try before any hashing starts, and
// waits for a place to hash in.
func (m *Main) prove(ctx context.Context, account, source, secret, phc string, now time.Time) (bool, error) {
	for _, t := range []struct {
		key    string
		limit  int
		window time.Duration
	}{
		{"source " + hashed(source), triesSource, triesWindow},
		{"account " + hashed(account), triesAccount, triesWindow},
		{"shut " + hashed(account), mostMisses, shutFor},
	} {
		ok, err := m.store.Attempt(ctx, SiteID, t.key, t.limit, t.window, now)
		if err != nil {
			return false, err
		}
		if !ok {
			return false, problem.New(problem.TooMany, "problem.too-many")
		}
	}
	select {
	case m.hashing <- struct{}{}:
		defer func() { <-m.hashing }()
	case <-time.After(hashWait):
		return false, problem.New(problem.Unavailable, "problem.hashing-busy")
	}
	m.hashed.Add(1)
	if right := matches(secret, cmp.Or(phc, nobody)); !right || phc == "" {
		return false, nil
	}
	if err := m.store.ClearAttempts(ctx, SiteID, "source "+hashed(source)); err != nil {
		return false, err
	}
	return true, reopen(ctx, m.store, account)
}

// reopen forgets the wrong secrets of accounts.
func reopen(ctx context.Context, store *record.Store, accounts ...string) error {
	var keys []string
	for _, a := range accounts {
		keys = append(keys, "account "+hashed(a), "shut "+hashed(a))
	}
	return store.ClearAttempts(ctx, SiteID, keys...)
}

// The least of a password, and of a PIN.
const (
	fewestCharacters = 12
	fewestDigits     = 6
	mostCharacters   = 128
)

// fitPassword tells whether a password is long enough and not one's own name;
// nothing else makes it better (NIST SP 800-63B, from memory).
func fitPassword(password string, p record.Person) bool {
	low := strings.ToLower(password)
	return utf8.RuneCountInString(password) >= fewestCharacters && len(password) <= mostCharacters &&
		low != strings.ToLower(p.Name) && low != p.Username && strings.Count(low, low[:1]) < len(low)
}

// fitPIN tells whether a PIN has enough digits, and they are no run.
func fitPIN(pin string) bool {
	if len(pin) < fewestDigits || len(pin) > 2*fewestDigits || strings.Trim(pin, "0123456789") != "" {
		return false
	}
	step := int(pin[1]) - int(pin[0])
	for i := 2; i < len(pin); i++ {
		if int(pin[i])-int(pin[i-1]) != step {
			return true
		}
	}
	return step < -1 || step > 1
}

// Of one-time codes (RFC 6238, six digits in thirty seconds): a code a step
// early or late is taken.
const codeSeconds = 30

// codeStep finds the step that a one-time code belongs to, near now.
func codeStep(key, code string, now time.Time) (int64, bool) {
	code = strings.ReplaceAll(strings.TrimSpace(code), " ", "")
	for d := range int64(3) {
		at := now.Add(time.Duration(d-1) * codeSeconds * time.Second)
		want, err := totp.GenerateCode(key, at)
		if err == nil && subtle.ConstantTimeCompare([]byte(want), []byte(code)) == 1 {
			return at.Unix() / codeSeconds, true
		}
	}
	return 0, false
}
