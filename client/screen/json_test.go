package screen

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "lastlight/proto/lastlight/v1"
)

// TestJSONFieldsAreFrozen: scripts read these names. One that is added is
// added here as well; none is taken away or changed.
func TestJSONFieldsAreFrozen(t *testing.T) {
	t.Parallel()
	var got strings.Builder
	_ = (&pb.Site{}).ProtoReflect() // Registers the files.
	for _, name := range answers() {
		d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName("lastlight.v1." + name))
		if err != nil {
			t.Fatal(err)
		}
		md := d.(protoreflect.MessageDescriptor)
		got.WriteString(name + ":")
		for i := range md.Fields().Len() {
			got.WriteString(" " + string(md.Fields().Get(i).Name()))
		}
		got.WriteString("\n")
	}
	if got.String() != frozen {
		t.Errorf("the fields of --json have changed:\n%s", got.String())
	}
}

// answers are the messages that --json can show, by name, in the order of frozen.
func answers() []string {
	var out []string
	for line := range strings.Lines(frozen) {
		name, _, _ := strings.Cut(line, ":")
		out = append(out, name)
	}
	return out
}

// TestEveryAnswerIsFrozen: a message that a call can answer with, at any depth, is in the list.
func TestEveryAnswerIsFrozen(t *testing.T) {
	t.Parallel()
	listed := map[string]bool{}
	for _, name := range answers() {
		listed[name] = true
	}
	seen := map[protoreflect.FullName]bool{}
	var missing []string
	var walk func(md protoreflect.MessageDescriptor)
	walk = func(md protoreflect.MessageDescriptor) {
		if seen[md.FullName()] || md.FullName().Parent() != "lastlight.v1" {
			return
		}
		seen[md.FullName()] = true
		if !listed[string(md.Name())] {
			missing = append(missing, string(md.Name()))
		}
		for i := range md.Fields().Len() {
			if m := md.Fields().Get(i).Message(); m != nil {
				walk(m)
			}
		}
	}
	protoregistry.GlobalFiles.RangeFilesByPackage("lastlight.v1", func(fd protoreflect.FileDescriptor) bool {
		for i := range fd.Services().Len() {
			for j := range fd.Services().Get(i).Methods().Len() {
				walk(fd.Services().Get(i).Methods().Get(j).Output())
			}
		}
		return true
	})
	if len(missing) > 0 {
		t.Error(fmt.Sprint("not in the list: ", strings.Join(missing, "\n")))
	}
}

func TestJSONIsTheSameBytes(t *testing.T) {
	t.Parallel()
	got, err := JSON(&pb.GoodToGo{Person: "ane"})
	if err != nil {
		t.Fatal(err)
	}
	const want = `{
  "person": "ane",
  "day": "",
  "site": "",
  "yes": false,
  "counts_as": "",
  "counts_because": "",
  "lines": [],
  "policy": "",
  "engine_version": ""
}
`
	if string(got) != want {
		t.Errorf("%s", got)
	}
}

const frozen = `Acknowledgement: person at
AltitudeArrival: site arrived_at
Analysis: id cylinder analysed_at oxygen_percent helium_percent analysed_by analyser calibrated_at air_reading_percent pressure label ended_by ended_at
AppliedRecord: kind id outcome changes not_looked_at
ApplyRecordsResponse: records problems
AtDepth: depth_m oxygen_bar equivalent_air_m narcotic_with_oxygen_m narcotic_nitrogen_m density verdict reasons
BestMix: found exact gas shallowest_m at_depth fitting limits oxygen_limit_bar density_limit
BlendSheet: reachable why_not bleed_to_bar start_bar steps makes least most reading_error_bar within_tolerance oxygen_tolerance_percent helium_tolerance_percent settles_bar ideal_makes needs_oxygen_clean clean_enough notices
BlendStep: add to_bar rise_bar grams litres ideal_to_bar oxygen_percent helium_percent
Board: as_of watches caution
BreathedCylinder: cylinder kind gas start_pressure end_pressure start_temperature_c end_temperature_c volume_l way
BreathedGas: gas deepest_m minutes
Brief: plan plan_version code_word text valid
Card: id level endorsement issued_day expires_day number issuing_body depth_limit_m seen_by seen_at revoked_at revoked_reason
Cascade: steps reaches_bar enough makes
CascadeStep: bottle bottle_from_bar bottle_to_bar cylinder_to_bar
Chamber: title telephone open_day_and_night travel_min confirmed_day
Circuit: id approach legs far_opening marker_at_m marker_hold_min
Decompression: stops_needed stops stop_min to_surface_min changes longest oxygen variants lost_gas
DecompressionVariant: deeper_m longer_min stops stop_min to_surface_min short
DecompressionStop: depth_m minutes arrive_min place breathing
GasChange: minute depth_m person cylinder
LongestWayOut: place after_min stop_min to_surface_min
LostGasSchedule: lost place stops stop_min to_surface_min breathes short no_schedule carried_by
OtherWay: station legs holds why runtime_min stops stop_min sharing_margin_l
OxygenFigures: person cns_percent otu_day
CircuitFigures: id kind length_m reach_forward_m reach_backward_m closes marker_from_m marker_to_m marker_legal distance_halfway_m time_halfway_m gas_halfway_m halves_differ
Citation: document edition section date_read
Closure: from_day to_day reason
CompareDecidedPlansResponse: id engine_version plans next_page_token
ConsumptionFigure: way median_l_min worst_l_min dives from to enough
Contents: litres ideal_litres compressibility grams
CustodyEvent: id item kind at holder site place remove_by notes dive recorded_by
Currency: person day site counts_as counts_because figures policy engine_version
CurrencyFigure: about name count asked within_months state last_day falls_on changes_on changes_to dives
Cylinder: id serial maker water_volume working_pressure material alloy specification jurisdiction manufactured first_service_day risk_assessment_day heavy_use burst_disc_on_record oxygen_clean owner service_events thread notes plus_at_manufacture version archived quarantined due
CylinderSet: id kind cylinders owner dual_outlet notes version archived due
DataRead: id at who asked fields person site call
DecideResponse: decided plan decision report not_decided explanation
DecidedPlanChange: plan version site planned_entry moment evaluated_at policy_then engine_then verdict_then verdict_before verdict_after findings standings not_evaluated reads_further not_told
Decision: id plan plan_version decision decided_by decided_at reason report_hash engine_version policy survey conditions
DepthPoint: at_m depth_m
Digest: person address every sending
Dive: id site plan plan_version expedition kind entered_at out_at divers cover max_depth_m penetration_m zone legs survey marker_station marker_reached_at openings_seen_open flow_met level_met_m visibility_met_m required_stops left notes taught_level out_at_station version archived state recorded_by
DiveDiver: person counted_as instructor used start_pressure end_pressure mains gas symptoms max_depth_m other_gases profile profile_left_out disagrees way start_temperature_c end_temperature_c mains_volume_l mean_depth_m cylinders gas_events
DiveFigures: runtime_min max_depth_m penetration_m distance_m entry enter_by latest_surfacing watch divers turn_at_the_latest commitment_point route worst_sharing turn_minute circuits decompression other_way
DiveProfile: after_s depth_cm gas started_at
DiverFigures: person name turns lower_starts consumption_l_min consumption_origin counts_as counts_because surface_bar earliest_flight worst_consumption_l_min consumption_way consumption_dives consumption_from consumption_to
DueEntry: kind id name person stops last_day days what to_do rule clause of
DueSummary: hydro_last_day visual_last_day next status fill use carry falls_first last_day max_fill
Eligibility: expedition cells policy engine_version policies
EligibilityCell: person site day may counts_as rule reason
EligibilityPolicy: policy from_day
EmergencyContact: full_name telephone relation
EmergencySheet: emergency_number rescue_service chambers hospital signal_point walk_to_signal_min coordinator_reached_at_water oxygen first_aiders landing_place languages insurance_numbers press_contact confirmed_day
Equipment: id kind serial maker owner burn_min line_m manufactured service_events notes scooter_speed_m_min version archived quarantined due
Erasure: id person state requested_by requested_at written_day withdrawn_at confirmed_by carried_out_at pseudonym outcome withdrawn_by
ErasureHindrance: code why to_do
ErasureLine: kind what records untold why kept citation until
ErasurePreview: person as_of pseudonym goes stays hindrances policy hash
ListErasuresResponse: erasures next_page_token
Event: id at who what kind record before after request_id
Evidence: plan plan_version input report hash
Expedition: id title from_day to_day sites participants notes version archived
ExportRecordsResponse: records next_page_token
Figure: name number text unit from people
Fill: id cylinder filled_at time_zone pressure temperature_c intended top_up source method compressor made_anyway filled_by
FillDay: day fills top_up_l from_bank_l compressor_min compressor_short_min oxygen_l helium_l oxygen_left_l helium_left_l problems
FillPlan: expedition days leaving_test assumed
Finding: rule rule_version status code subject other path place observed limit shortfall figures citation message remedy waivable_by second_approver due_at key steps waived_by waiver_second_approver records
FindingChange: before after
FindingCounts: refuse indeterminate needs_waiver caution note pass not_applicable
FindingSubject: kind id name
GasLimits: oxygen_working_bar oxygen_resting_bar oxygen_floor_bar density_advised density_most oxygen_narcotic
GasMix: oxygen_percent helium_percent
GasSwitch: nitrogen_rise_percent allowed_percent noted note
GoNoGo: level_min_m level_max_m flow_max visibility_min_m
GoodToGo: person day site yes counts_as counts_because lines policy engine_version on_last_day
GoodToGoLine: sign what to_do changes_on finding
Holding: item kind owner state holder since site place remove_by
Incident: id site dive happened_at level types people narrative trigger harmful_action preceding_event outcome went_right lessons injured consent_to_share version state reviewed_by reviewed_narrative reported_by reported_at happened_day
IncidentRate: per_thousand lower upper shown_as
IssuedToken: token secret
Item: cylinder equipment
LeavingTest: cylinder event last_day no_fill_from why
LeftBehind: kind place item owner remove_by
LeftItem: id site dive kind place item owner left_at remove_by confirmed_at recovered_at recovered_in_dive
LeftOnPurpose: kind item owner remove_by
Leg: id from to length_m lined unlined_kind restriction flow_m_min bottom declared_free_above depth_points off_main_line pull_and_glide_m_min turns_round
LegPassed: leg direction people
Letter: id person period state queued_at next_try_at tries done_at why
LineDamage: id site legs seen_at what reported_by
ListAnalysesResponse: analyses next_page_token
ListCustodyResponse: events next_page_token
ListCylinderSetsResponse: sets next_page_token
ListCylindersResponse: cylinders next_page_token
ListDecisionsResponse: decisions next_page_token
ListDivesResponse: dives next_page_token
ListDueResponse: entries next_page_token day by total policy
ListEquipmentResponse: equipment next_page_token
ListEventsResponse: events next_page_token
ListExpeditionsResponse: expeditions next_page_token
ListFillsResponse: fills next_page_token
ListHoldingsResponse: holdings next_page_token
ListIncidentsResponse: incidents next_page_token
ListLeftItemsResponse: items next_page_token
ListLettersResponse: letters next_page_token
ListPeopleResponse: people next_page_token
ListPermitsResponse: permits next_page_token
ListPlansResponse: plans next_page_token
ListPoliciesResponse: policies next_page_token
ListReadsResponse: reads next_page_token
ListReadingsResponse: readings next_page_token
ListRolesResponse: roles next_page_token
ListSitesResponse: sites next_page_token
ListSurveysResponse: surveys next_page_token
ListTokensResponse: tokens next_page_token
ListWaiversResponse: waivers next_page_token
LowerStart: start_bar turns no_dive turn_at_the_latest turn_place
MayDo: answer why until clause
MeasuredConsumption: person day asked within_months counts_l_min origin stated_l_min stated_worst_l_min worst_l_min figures dives not_counted policy engine_version
MeasuredDive: dive day way l_min litres minutes mean_bar cylinders remarks
MedicalStatus: examined_day doctor_until declared_day restriction_code suspended_at cleared_at cleared_by_roles depth_limit_m
MixCheck: gas deepest_working_m deepest_resting_m deepest_advised_density_m deepest_density_m shallowest_m at_depth limits
MyData: as_of person roles tokens dives plans decisions incidents cylinders equipment reads changes acts digest letters expeditions left erasures next_page_token
NextDue: last_day what status why cylinder dives_left
OxygenCylinder: water_volume pressure
Participant: person tasks
Permit: id site from_day to_day daily_from daily_to divers_at_most granted_by notes version archived
Person: id full_name short_name initials guest birth_day cards consumption worst_consumption medical emergency_contacts telephone guardian guardian_consent_to unavailable arrivals reassessments version archived
Plan: id site survey expedition kind goal leader team standby cover planned_entry enter_by route swim_m_min contingency_swim_m_min slow_exit_factor night cavern_only taught_level walk_to_signal_min notes gf_low_percent gf_high_percent set_up_for circuits relies_on_set_up gas_fraction version state state_reasons archived code_word version_at version_by waivers not_yours acknowledgements
PlanDiver: person mains start_pressure gas temperature_c stages equipment markers arrows cutting_tools masks rebreather
PlanStage: cylinder kind start_pressure gas switch_depth_m temperature_c
PlannedFill: cylinder plan from_bar to_bar gas top_up_l oxygen_l helium_l bank_to_bar bleed_to_bar needs_oxygen_clean problems
Policy: id document reason based_on number state in_force_from adopted_by created_at
PolicyCellChange: path before after citation
PolicyComparison: id against engine_version evaluated_at cells plans_compared plans
PolicyPlanChange: plan version state site planned_entry verdict_before verdict_after findings standings not_evaluated not_told
Position: latitude longitude
Pressure: bar psi
Problem: field read expected message line column
Reading: id site read_at level_m flow visibility_m openings_seen_open notes read_by
Reassessment: day assessed_by
Record: site survey reading permit person cylinder cylinder_set equipment fill analysis policy expedition plan dive incident role custody_event
RecordCustodyResponse: events
RecordRef: kind id version
Report: plan plan_version moment verdict counts findings hash engine_version policy survey evaluated_at dive waived
RoleGrant: id person role expedition of_person granted_at granted_by revoked_at
Route: start start_actions moves left
RouteAction: action person cylinder marker
RouteLine: move leg from to arrive_min leave_min depth_m zone tasks against_survey
RouteMove: leg to swim_m_min run_line reel recover_line actions hold_min hold_task turn
ServiceEvent: id kind date next_due eddy_current plus what clears corrects done_by evidence recorded_at recorded_by
SettledPressure: bar ideal_bar
SignInResponse: go changed who_must_approve watch report
Site: id title time_zone water_density altitude_m barometer_bar water_temperature_c grade coarse_position exact_position access_notes gate_code thresholds emergency closures notes permit_required version archived latest_survey restricted_on_record
SiteHistory: site dives people_dives incidents rate entries next_page_token left
SiteHistoryEntry: at kind id summary day
StandingChange: person before after
Station: id depth_m opening daylight air_bell time_zone notes
Step: what formula inputs result source withheld
StopAllDivesResponse: plans_made_stale
SubmitPlanResponse: plan report
SupplyTurn: supply start_bar turn_bar_exact turn_bar governs gas no_dive_below_bar person
SurfaceRate: litres_per_minute cubic_feet_per_minute
Survey: site number surveyed_day surveyed_by stations legs notes recorded_at recorded_by
Token: id person device issued_at expires_at revoked_at last_used_at lent
TurnPlace: move station metres_past towards hold_min elapsed_min whole_route binds
UnmeasuredDive: dive day way cylinders reasons codes
Unavailability: from_day to_day
Waiver: id plan plan_version finding rule reason conditions waived_by waived_at expires_at second_approver needs_second_approver withdrawn_by withdrawn_at withdrawn_reason said observed shortfall state site planned_entry
Watch: dive plan plan_version site time_zone entered_at times divers cover code_word step next_step next_step_at split all_seen_out all_signed_out figures contacts emergency_number stopped without_contact turn_at_the_latest
WatchContact: person full_name telephone relation
WatchDiver: person name in_at seen_out_at seen_out_by signed_out_at signed_out_by symptoms corrections
WatchTimes: eto look coordinator dial grace_min gas_clause walk
WaterVolume: litres cubic_feet cubic_feet_of_gas_at_working_pressure
WhoAmIResponse: person full_name token roles server_version engine_version club_time_zone club
WorstSharing: donor receiver place left_l need_l margin_l margin_bar
`
