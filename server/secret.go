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

	"golang.org/x/crypto/argon2"

	"lampwright/locales/problem"
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

// prove checks a secret. It counts the try before any hashing starts, and
// waits for a place to hash in.
func (m *Main) prove(ctx context.Context, account, source, secret, phc string, now time.Time) (bool, error) {
	for _, t := range []struct {
		key   string
		limit int
	}{{"source " + hashed(source), triesSource}, {"account " + hashed(account), triesAccount}} {
		ok, err := m.store.Attempt(ctx, SiteID, t.key, t.limit, triesWindow, now)
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
	for _, key := range []string{"account " + hashed(account), "source " + hashed(source)} {
		if err := m.store.ClearAttempts(ctx, SiteID, key); err != nil {
			return false, err
		}
	}
	return true, nil
}
