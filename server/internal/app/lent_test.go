package app

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
)

// Whoever issues a token could use it. What a coordinator could open with it stays what a coordinator lends, though its owner be
// given more later, and though it be renewed or used to issue another; the committee issues one without that, and so does its owner
// from a device that is no lent one.
func TestALentTokenOpensNoMore(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	mara := r.person("mara", access.Grant{Role: access.Committee})
	r.person("asta")
	r.expedition("spring", "asta")
	if _, err := r.grant(mara, "asta", "leader", "spring"); err != nil {
		t.Fatal(err)
	}
	cora := r.person("cora", access.Grant{Role: access.Coordinator, Expedition: "spring"})
	issue := func(as string) (string, *lastlightv1.Token) {
		t.Helper()
		out, err := r.access().IssueToken(r.as(as), &lastlightv1.IssueTokenRequest{Person: "asta", Device: "phone", RequestId: request()})
		if err != nil {
			t.Fatal(err)
		}
		return out.Secret, out.Token
	}
	roles := func(secret string) (out []string) {
		t.Helper()
		who, err := r.access().WhoAmI(r.as(secret), &lastlightv1.WhoAmIRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for _, g := range who.Roles {
			out = append(out, g.Role)
		}
		return out
	}
	lent, token := issue(cora)
	if !token.Lent || len(roles(lent)) != 1 {
		t.Errorf("issued by a coordinator: %v, %v", token, roles(lent))
	}
	for _, role := range []string{"committee", "medical_officer"} {
		if _, err := r.grant(mara, "asta", role, ""); err != nil {
			t.Fatal(err)
		}
	}
	if got := roles(lent); len(got) != 1 || got[0] != "leader" {
		t.Errorf("the coordinator's token opens %v", got)
	}
	_, err := r.grant(lent, "cora", "committee", "")
	want(t, err, codes.PermissionDenied, "NOT_ALLOWED")

	// Neither by itself nor by renewing does it become another.
	more, token := issue(lent)
	if !token.Lent || len(roles(more)) != 1 {
		t.Errorf("issued with it: %v, %v", token, roles(more))
	}
	renewed, err := r.access().RenewToken(r.as(more), &lastlightv1.RenewTokenRequest{RequestId: request()})
	if err != nil || !renewed.Token.Lent || len(roles(renewed.Secret)) != 1 {
		t.Errorf("renewed: %v, %v", renewed, err)
	}

	// Nor is it its owner's word: everything about her, and her erasure, are asked for with a token of her own.
	privacy := lastlightv1.NewPrivacyServiceClient(r.conn)
	inPerson := map[string]func(as string) error{
		"my data": func(as string) error {
			_, err := privacy.GetMyData(r.as(as), &lastlightv1.GetMyDataRequest{})
			return err
		},
		"what an erasure would do": func(as string) error {
			_, err := privacy.CheckErasure(r.as(as), &lastlightv1.CheckErasureRequest{})
			return err
		},
		"erasure": func(as string) error {
			_, err := privacy.RequestErasure(r.as(as), &lastlightv1.RequestErasureRequest{RequestId: request()})
			return err
		},
		"erasure no more": func(as string) error {
			_, err := privacy.WithdrawErasure(r.as(as), &lastlightv1.WithdrawErasureRequest{RequestId: request()})
			return err
		},
		"letters": func(as string) error {
			_, err := lastlightv1.NewDueServiceClient(r.conn).SetDigest(r.as(as), &lastlightv1.SetDigestRequest{Address: "cora@club.test", Every: "week", RequestId: request()})
			return err
		},
	}
	for name, ask := range inPerson {
		for _, secret := range []string{lent, renewed.Secret} {
			if err := ask(secret); status.Code(err) != codes.PermissionDenied || !strings.Contains(err.Error(), "committee") {
				t.Errorf("%s by a lent token: %v", name, err)
			}
		}
	}

	full, token := issue(mara)
	if token.Lent || len(roles(full)) != 3 {
		t.Errorf("issued by the committee: %v, %v", token, roles(full))
	}
	if own, token := issue(full); token.Lent || len(roles(own)) != 3 {
		t.Errorf("issued by herself from it: %v", token)
	}
	for _, name := range []string{"my data", "what an erasure would do", "erasure", "erasure no more", "letters"} {
		if err := inPerson[name](full); status.Code(err) == codes.PermissionDenied {
			t.Errorf("%s by her own: %v", name, err)
		}
	}
}
