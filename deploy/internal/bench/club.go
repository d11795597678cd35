package bench

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "lastlight/proto/lastlight/v1"
)

// bearer sends a token with each call.
type bearer string

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}
func (bearer) RequireTransportSecurity() bool { return true }

// club is the demo club, through the public interface, with coordinators of the bench's own.
type club struct {
	conn      *grpc.ClientConn
	as        []grpc.CallOption // one coordinator for each caller
	who       grpc.CallOption   // the first of them, for what is not measured by callers
	ids       map[string]bool   // of the demo's records, each of which every caller has a copy of
	health    grpc_health_v1.HealthClient
	sites     v1.SiteServiceClient
	plans     v1.PlanServiceClient
	dives     v1.DiveServiceClient
	siteIDs   []string                   // one for each caller
	suffix    string                     // of every id that the bench makes
	begin     time.Time                  // planned entries are counted from it
	submitted [][]*v1.SubmitPlanResponse // by caller, in the order in which they are approved
}

// deadline of one call: the server refuses calls without one.
const deadline = 20 * time.Second

func newRequest() string { return uuid.NewString() }

func dial(address, caFile string) (*grpc.ClientConn, error) {
	trust, err := credentials.NewClientTLSFromFile(caFile, "")
	if err != nil {
		return nil, err
	}
	return grpc.NewClient(address, grpc.WithTransportCredentials(trust))
}

// openClub makes the bench's coordinator with the committee's token, and as many sites as there are callers.
func openClub(ctx context.Context, address, caFile, committeeToken string, callers int) (*club, error) {
	conn, err := dial(address, caFile)
	if err != nil {
		return nil, err
	}
	c := &club{
		conn: conn, health: grpc_health_v1.NewHealthClient(conn), sites: v1.NewSiteServiceClient(conn),
		plans: v1.NewPlanServiceClient(conn), dives: v1.NewDiveServiceClient(conn),
		suffix: strings.ToLower(rand.Text()[:6]), begin: time.Now(),
	}
	if err := c.prepare(ctx, committeeToken, callers); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return c, nil
}

func (c *club) prepare(ctx context.Context, committeeToken string, callers int) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	text, err := os.ReadFile(committeeToken)
	if err != nil {
		return err
	}
	committee := grpc.PerRPCCredentials(bearer(strings.TrimSpace(string(text))))
	if err := c.coordinators(ctx, committee, callers); err != nil {
		return err
	}
	if err := c.makeSites(ctx, callers); err != nil {
		return err
	}
	return c.makeDives(ctx)
}

func (c *club) makeSites(ctx context.Context, callers int) error {
	for i := range callers {
		site := &v1.Site{
			Id: fmt.Sprintf("bench-%s-%d", c.suffix, i), Title: fmt.Sprintf("Bench site %d", i), TimeZone: "Etc/UTC",
			WaterDensity: 1000, SurfacePressure: &v1.Site_AltitudeM{AltitudeM: 10}, Grade: 1,
		}
		made, err := c.sites.CreateSite(ctx, &v1.CreateSiteRequest{Site: site, RequestId: newRequest()}, c.who)
		if err != nil {
			return fmt.Errorf("create a site: %w", err)
		}
		c.siteIDs = append(c.siteIDs, made.GetId())
	}
	return nil
}

// makeDives copies a past dive of the demo, day by day further back, until a page is full twice over.
func (c *club) makeDives(ctx context.Context) error {
	found, err := c.dives.ListDives(ctx, &v1.ListDivesRequest{PageSize: 200}, c.who)
	if err != nil {
		return fmt.Errorf("list dives: %w", err)
	}
	var model *v1.Dive
	for _, d := range found.GetDives() {
		if d.GetPlan() == "" && (model == nil || d.GetEnteredAt().AsTime().Before(model.GetEnteredAt().AsTime())) {
			model = d // the earliest: copies go back from it and meet nothing
		}
	}
	if model == nil {
		return errors.New("the demo has no past dive to copy")
	}
	for i := len(found.GetDives()); i < 2*rowsListed; i++ {
		d := proto.CloneOf(model)
		d.Id, d.Version, d.Archived, d.State, d.RecordedBy = "", 0, false, "", ""
		back := -time.Duration(i+1) * 24 * time.Hour
		d.EnteredAt, d.OutAt = shifted(d.GetEnteredAt(), back), shifted(d.GetOutAt(), back)
		d.MarkerReachedAt = nil
		if _, err := c.dives.RecordDive(ctx, &v1.RecordDiveRequest{Dive: d, RequestId: newRequest()}, c.who); err != nil {
			return fmt.Errorf("record a dive: %w", err)
		}
	}
	return nil
}

func shifted(t *timestamppb.Timestamp, by time.Duration) *timestamppb.Timestamp {
	return timestamppb.New(t.AsTime().Add(by))
}
