package access

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

func TestSecretIsNeverPrinted(t *testing.T) {
	s := NewSecret()
	for _, text := range []string{fmt.Sprint(s), fmt.Sprintf("%v %+v %#v %s %q", s, s, s, s, s), fmt.Sprintf("%v", &s)} {
		if strings.Contains(text, strings.TrimPrefix(s.Reveal(), SecretPrefix)) {
			t.Errorf("printed: %s", text)
		}
	}
}

func TestParseSecret(t *testing.T) {
	s := NewSecret()
	if got, ok := ParseSecret(s.Reveal()); !ok || got.Hash() != s.Hash() {
		t.Error("a secret is not read back")
	}
	if NewSecret().Hash() == s.Hash() {
		t.Error("two secrets are equal")
	}
	// 32 bytes are 42 full characters and one of 4 bits: what differs only in the bits behind is not another form of the same.
	body := strings.TrimPrefix(s.Reveal(), SecretPrefix)
	if len(body) != 43 {
		t.Errorf("%d characters, want 43 for 256 bits", len(body))
	}
	for _, text := range []string{"", SecretPrefix, body, s.Reveal() + "A", s.Reveal()[:len(s.Reveal())-1], s.Reveal()[:len(s.Reveal())-1] + "_", " " + s.Reveal(), s.Reveal() + "\n"} {
		if _, ok := ParseSecret(text); ok && text != s.Reveal() {
			t.Errorf("taken: %q", text)
		}
	}
}

func TestTokenStands(t *testing.T) {
	now := time.Date(2026, 6, 8, 9, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		token Token
		want  bool
	}{
		{Token{ExpiresAt: now.Add(1)}, true},
		{Token{ExpiresAt: now}, false},
		{Token{ExpiresAt: now.Add(time.Hour), RevokedAt: now}, false},
	} {
		if got := c.token.Stands(now); got != c.want {
			t.Errorf("%+v stands: %v, want %v", c.token, got, c.want)
		}
	}
	if Life(0) != 90*24*time.Hour || Life(1000) != 400*24*time.Hour || Life(7) != 7*24*time.Hour {
		t.Error("the life of a token")
	}
}

func TestRoles(t *testing.T) {
	n := 0
	for role := range Everybody.Each() {
		n++
		if back, err := ParseRole(role.String()); err != nil || back != role {
			t.Errorf("%s is not read back: %v", role, err)
		}
	}
	if n != 12 {
		t.Errorf("%d roles, want 12", n)
	}
	if _, err := ParseRole("captain"); err == nil {
		t.Error("captain is a role")
	}
}

func TestWhatACoordinatorMayGive(t *testing.T) {
	coordinator := NewCaller("", Token{Person: "cora"}, []Grant{{Role: Coordinator, Expedition: "spring"}})
	club := NewCaller("", Token{Person: "cora"}, []Grant{{Role: Coordinator}})
	committee := NewCaller("", Token{Person: "mara"}, []Grant{{Role: Committee}})
	diver := NewCaller("", Token{Person: "asta"}, []Grant{{Role: Diver}})
	for role := range Everybody.Each() {
		everyday := role == Diver || role == Leader || role == Cover || role == Guest
		if got := coordinator.MayGrant(role, "spring"); got != everyday {
			t.Errorf("a coordinator gives %s: %v", role, got)
		}
		if coordinator.MayGrant(role, "autumn") || coordinator.MayGrant(role, "") || club.MayGrant(role, "") || diver.MayGrant(role, "spring") {
			t.Errorf("%s is given where it must not", role)
		}
		if !committee.MayGrant(role, "") {
			t.Errorf("the committee does not give %s", role)
		}
		if got := coordinator.MayIssueFor("x", role, []string{"spring"}); got != everyday {
			t.Errorf("a coordinator issues a token to a person with %s: %v", role, got)
		}
	}
	if !diver.MayIssueFor("asta", Diver|Committee, nil) || diver.MayIssueFor("birk", Diver, nil) {
		t.Error("one issues tokens for oneself and nobody else")
	}
}
