package access

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"strings"
	"time"
)

const (
	// SecretPrefix begins every secret, so that a scanner for leaked secrets can know one.
	SecretPrefix = "lastlight_"

	secretBytes = 32

	// DefaultDays and MaxDays bound the life of a token.
	DefaultDays = 90
	MaxDays     = 400

	// UseNoted is how far apart two notes of a token's last use are: not every call is worth a write.
	UseNoted = time.Minute
)

// Token is the proof that one device acts for one person. The secret itself is nowhere: only its hash is stored.
type Token struct {
	ID         string
	Person     string
	Device     string
	IssuedAt   time.Time
	ExpiresAt  time.Time
	RevokedAt  time.Time // zero: stands
	LastUsedAt time.Time // zero: never
	Lent       bool      // issued by a coordinator for somebody else: opens what a coordinator lends, and no more
}

// Stands tells whether the token is good at this moment: neither expired nor revoked.
func (t Token) Stands(now time.Time) bool {
	return t.RevokedAt.IsZero() && now.Before(t.ExpiresAt)
}

// Secret is what a device sends. It prints as dots, so that no log line or error can carry it by accident.
type Secret struct{ text string }

// NewSecret makes a secret of 256 random bits.
func NewSecret() Secret {
	var random [secretBytes]byte
	_, _ = rand.Read(random[:]) // never fails: the program would not run on
	return Secret{SecretPrefix + base64.RawURLEncoding.EncodeToString(random[:])}
}

// ParseSecret reads what a device sent. ok is false for anything that NewSecret cannot have made.
func ParseSecret(text string) (s Secret, ok bool) {
	body, ok := strings.CutPrefix(text, SecretPrefix)
	if !ok || len(body) != base64.RawURLEncoding.EncodedLen(secretBytes) { // the decoder would skip line ends
		return Secret{}, false
	}
	random, err := base64.RawURLEncoding.Strict().DecodeString(body)
	if err != nil || len(random) != secretBytes {
		return Secret{}, false
	}
	return Secret{text}, true
}

// Hash is what the database keeps and finds a token by: 256 random bits need no slow hash, and nothing compares secrets.
func (s Secret) Hash() [sha256.Size]byte { return sha256.Sum256([]byte(s.text)) }

// Reveal gives the secret itself, for the one answer that shows it.
func (s Secret) Reveal() string { return s.text }

// String hides the secret from every form of printing.
func (s Secret) String() string { return SecretPrefix + "…" }

// GoString hides the secret from %#v.
func (s Secret) GoString() string { return s.String() }

// Life is how long a token lives that was asked for with so many days: DefaultDays for 0, never more than MaxDays.
func Life(days int) time.Duration {
	if days <= 0 {
		days = DefaultDays
	}
	return time.Duration(min(days, MaxDays)) * 24 * time.Hour
}
