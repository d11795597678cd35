package app

import (
	"slices"
	"strings"
	"sync"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
)

func (r *running) grant(secret, person, role, expedition string) (*lastlightv1.RoleGrant, error) {
	return r.access().GrantRole(r.as(secret), &lastlightv1.GrantRoleRequest{RequestId: request(), Grant: &lastlightv1.RoleGrant{Person: person, Role: role, Expedition: expedition}})
}

func TestRolesAreGivenAndEnded(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	mara := r.person("mara", access.Grant{Role: access.Committee})
	asta := r.person("asta")
	r.person("birk")
	r.expedition("spring", "asta")
	cora := r.person("cora", access.Grant{Role: access.Coordinator, Expedition: "spring"})
	version := func() (v int64) {
		t.Helper()
		if err := r.pool.QueryRow(t.Context(), `SELECT version FROM person WHERE id = 'asta'`).Scan(&v); err != nil {
			t.Fatal(err)
		}
		return v
	}

	// Nobody in particular may do nothing in particular.
	_, err := r.access().GrantRole(r.as(asta), &lastlightv1.GrantRoleRequest{RequestId: request(), Grant: &lastlightv1.RoleGrant{Person: "asta", Role: "committee"}})
	want(t, err, codes.PermissionDenied, "NOT_ALLOWED")

	before := version()
	given, err := r.grant(mara, "asta", "safety_officer", "")
	if err != nil || given.GrantedBy != "mara" {
		t.Fatalf("%v, %v", given, err)
	}
	if version() != before+1 {
		t.Error("a role does not bump the person's root, which approvals lock")
	}
	again, err := r.grant(mara, "asta", "safety_officer", "")
	if err != nil || again.Id != given.Id || version() != before+1 {
		t.Errorf("the same role twice: %v, %v", again, err)
	}
	// It holds from the next call on, and ends with the call before.
	who, err := r.access().WhoAmI(r.as(asta), &lastlightv1.WhoAmIRequest{})
	if err != nil || len(who.Roles) != 1 || !proto.Equal(who.Roles[0], given) {
		t.Errorf("%v, %v", who, err)
	}
	if _, err := r.access().RevokeRole(r.as(mara), &lastlightv1.RevokeRoleRequest{Id: given.Id, RequestId: request()}); err != nil {
		t.Fatal(err)
	}
	if who, err = r.access().WhoAmI(r.as(asta), &lastlightv1.WhoAmIRequest{}); err != nil || len(who.Roles) != 0 {
		t.Errorf("%v, %v", who, err)
	}

	// A coordinator gives the everyday roles in the expedition, and no more.
	if _, err := r.grant(cora, "asta", "leader", "spring"); err != nil {
		t.Error(err)
	}
	for _, c := range [][2]string{{"leader", ""}, {"coordinator", "spring"}, {"medical_officer", "spring"}} {
		_, err := r.grant(cora, "asta", c[0], c[1])
		want(t, err, codes.PermissionDenied, "NOT_YOURS")
	}
	_, err = r.grant(mara, "asta", "committee", "spring")
	want(t, err, codes.InvalidArgument, "INVALID_INPUT")
	_, err = r.grant(mara, "asta", "guardian", "")
	want(t, err, codes.InvalidArgument, "INVALID_INPUT")
	_, err = r.grant(mara, "nobody", "diver", "")
	want(t, err, codes.NotFound, "NOT_FOUND")
	_, err = r.grant(mara, "asta", "diver", "no-such-trip")
	want(t, err, codes.InvalidArgument, "NO_SUCH_REFERENCE")

	// A token opens what its person may: a coordinator gives none to those who may more.
	issue := func(secret, person string) error {
		_, err := r.access().IssueToken(r.as(secret), &lastlightv1.IssueTokenRequest{Person: person, Device: "d", RequestId: request()})
		return err
	}
	if err := issue(cora, "asta"); err != nil {
		t.Error(err)
	}
	want(t, issue(cora, "mara"), codes.PermissionDenied, "NOT_YOURS")
	want(t, issue(cora, "birk"), codes.PermissionDenied, "NOT_YOURS")
	want(t, issue(asta, "birk"), codes.PermissionDenied, "NOT_YOURS")

	list, err := r.access().ListRoles(r.as(mara), &lastlightv1.ListRolesRequest{PageSize: 2, ShowRevoked: true})
	if err != nil || len(list.Roles) != 2 || list.NextPageToken == "" {
		t.Fatalf("%v, %v", list, err)
	}
	rest, err := r.access().ListRoles(r.as(mara), &lastlightv1.ListRolesRequest{PageSize: 2, ShowRevoked: true, PageToken: list.NextPageToken})
	if err != nil || len(rest.Roles) != 2 || rest.NextPageToken != "" {
		t.Fatalf("%v, %v", rest, err)
	}
	_, err = r.access().ListRoles(r.as(mara), &lastlightv1.ListRolesRequest{PageSize: 2, PageToken: list.NextPageToken})
	if status.Code(err) != codes.InvalidArgument {
		t.Errorf("a token of another list: %v", err)
	}
}

// What is not one's own is not there.
func TestHiddenIsNotFound(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	asta := r.person("asta", access.Grant{Role: access.Diver})
	r.person("birk", access.Grant{Role: access.Diver})
	var id string
	if err := r.pool.QueryRow(t.Context(), `SELECT id::text FROM token WHERE person = 'birk'`).Scan(&id); err != nil {
		t.Fatal(err)
	}
	_, hidden := r.access().RevokeToken(r.as(asta), &lastlightv1.RevokeTokenRequest{Id: id, RequestId: request()})
	want(t, hidden, codes.NotFound, "NOT_FOUND")
	_, absent := r.access().RevokeToken(r.as(asta), &lastlightv1.RevokeTokenRequest{Id: "none", RequestId: request()})
	if strings.ReplaceAll(hidden.Error(), id, "none") != absent.Error() {
		t.Errorf("hidden and absent differ: %v, %v", hidden, absent)
	}
	_, err := r.access().ListTokens(r.as(asta), &lastlightv1.ListTokensRequest{Person: "birk"})
	want(t, err, codes.NotFound, "NOT_FOUND")
}

func TestSomebodyStaysInTheCommittee(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	secrets := map[string]string{}
	for _, p := range []string{"mara", "nils", "odo"} {
		secrets[p] = r.person(p, access.Grant{Role: access.Committee})
	}
	grants := map[string]string{}
	list, err := r.access().ListRoles(r.as(secrets["mara"]), &lastlightv1.ListRolesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range list.Roles {
		grants[g.Person] = g.Id
	}
	var all sync.WaitGroup
	for p, secret := range secrets {
		all.Go(func() { // each ends their own role at the same moment
			_, err := r.access().RevokeRole(r.as(secret), &lastlightv1.RevokeRoleRequest{Id: grants[p], RequestId: request()})
			if err != nil {
				want(t, err, codes.FailedPrecondition, "LAST_COMMITTEE_MEMBER")
			}
		})
	}
	all.Wait()
	var left int
	if err := r.pool.QueryRow(t.Context(), `SELECT count(*) FROM role_grant WHERE role = 'committee' AND revoked_at IS NULL`).Scan(&left); err != nil || left != 1 {
		t.Errorf("%d left in the committee (%v), want 1", left, err)
	}
}

func TestEventsAreFiltered(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	mara := r.person("mara", access.Grant{Role: access.Committee})
	cora := r.person("cora", access.Grant{Role: access.Coordinator})
	olga := r.person("olga", access.Grant{Role: access.SafetyOfficer})
	asta := r.person("asta", access.Grant{Role: access.Diver})
	r.expedition("spring")
	r.expedition("autumn")
	carl := r.person("carl", access.Grant{Role: access.Coordinator, Expedition: "spring"})
	otto := r.person("otto", access.Grant{Role: access.Coordinator, Expedition: "autumn"})
	if _, err := r.pool.Exec(t.Context(), `INSERT INTO site (id, title, time_zone, doc) VALUES ('pool', 'Pool', 'UTC', '{}')`); err != nil {
		t.Fatal(err)
	}
	// A plan is its own expedition's business; this one is of the expedition "spring".
	if _, err := r.pool.Exec(t.Context(), `INSERT INTO plan (id, site, expedition, leader, planned_entry) VALUES ('p1', 'pool', 'spring', 'asta', now())`); err != nil {
		t.Fatal(err)
	}
	for _, e := range [][3]string{{"asta", "incident", "i1"}, {"asta", "person", "asta"}, {"cora", "person", "asta"}, {"cora", "site", "spring"}, {"cora", "plan", "p1"}} {
		if _, err := r.pool.Exec(t.Context(), `INSERT INTO event (who, what, kind, record, after) VALUES ($1, 'x', $2, $3, '{"full_name":"A"}')`, e[0], e[1], e[2]); err != nil {
			t.Fatal(err)
		}
	}
	read := func(secret string) (rows, documents []string) {
		t.Helper()
		token := ""
		for {
			list, err := r.access().ListEvents(r.as(secret), &lastlightv1.ListEventsRequest{PageSize: 2, PageToken: token})
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range list.Events {
				rows = append(rows, e.Kind)
				if e.After != "" {
					documents = append(documents, e.Kind)
				}
			}
			if token = list.NextPageToken; token == "" {
				return rows, documents
			}
		}
	}
	for _, c := range []struct {
		who, secret     string
		rows, documents []string
	}{
		{"committee", mara, []string{"plan", "site", "person", "person"}, []string{"plan", "site"}},
		{"coordinator", cora, []string{"plan", "site", "person", "person"}, []string{"plan", "site", "person", "person"}},
		{"safety officer", olga, []string{"plan", "site", "person", "person", "incident"}, []string{"plan", "site", "incident"}},
		{"coordinator of an expedition", carl, []string{"plan", "site"}, []string{"plan", "site"}},
		{"coordinator of another expedition", otto, []string{"site"}, []string{"site"}},
		{"diver, own doings", asta, []string{"person", "incident"}, nil},
	} {
		rows, documents := read(c.secret)
		if !slices.Equal(rows, c.rows) || !slices.Equal(documents, c.documents) {
			t.Errorf("%s: %v with documents of %v, want %v with %v", c.who, rows, documents, c.rows, c.documents)
		}
	}
}
