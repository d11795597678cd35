package access

// Group is a group of fields that the same people see.
type Group uint8

const (
	// Directory: name, short name, initials, of every person: what stands on boards and briefs.
	Directory Group = iota
	// Reach: a person's telephone, days away, arrivals at altitude.
	Reach
	// Medical: fit or not, until when, the effect on planning. Whoever does not see it sees "not available" at most, never why.
	Medical
	// Restriction: the restriction code.
	Restriction
	// Contacts: emergency contacts.
	Contacts
	// Training: cards, lapses, consumption.
	Training
	// CardNumber: the number on a card.
	CardNumber
	// Minor: date of birth, guardian and consent.
	Minor
	// Place: exact position, way in, gate code. In no log and no export.
	Place
	// Board: who is away. An empty house and a parked car.
	Board
	// Identities: who was in an incident and who reported it.
	Identities
	// Narrative: an incident as it was reported, before the safety officer took persons and place out.
	Narrative
	// GearDates: analyses, fills, test dates of cylinders.
	GearDates
	// WaiverFact: what was waived, by whom, on what conditions.
	WaiverFact
	// WaiverReason: why it was waived, or taken back.
	WaiverReason

	groupsEnd
)

// sight is one line of the table: who sees the group.
type sight struct {
	always  Roles    // held for the whole club or in the record's expedition
	inWatch Roles    // the same, while somebody of the record is in the water
	tied    Relation // whatever the roles
	tiedIn  Relation // the same, while somebody of the record is in the water
	noted   string   // not empty: who reads it is written down, under this name
}

// sights is who sees what. It follows the club's promise to its people line by line; nobody else sees anything of the group.
var sights = [groupsEnd]sight{
	Directory:    {always: Members, tied: Self | Ward | team},
	Reach:        {always: Coordinator | Committee | WelfareOfficer, inWatch: Cover, tied: Self | Ward | Leads, tiedIn: Covers},
	Medical:      {always: Coordinator | MedicalOfficer, tied: Self, noted: "medical"},
	Restriction:  {always: MedicalOfficer, tied: Self, noted: "restriction"},
	Contacts:     {inWatch: Cover | Coordinator, tied: Self, tiedIn: Covers, noted: "contacts"},
	Training:     {always: Coordinator, tied: Self | Leads},
	CardNumber:   {always: Coordinator, tied: Self},
	Minor:        {always: Coordinator | WelfareOfficer, tied: Self | Ward},
	Place:        {always: SiteOfficer | Coordinator, inWatch: Cover, tiedIn: Covers, noted: "place"},
	Board:        {always: Cover | Coordinator, tied: team},
	Identities:   {always: SafetyOfficer},
	Narrative:    {always: SafetyOfficer, tied: Self},
	GearDates:    {always: Blender | Coordinator, tied: Self | team},
	WaiverFact:   {always: Coordinator | Committee | SafetyOfficer, tied: team},
	WaiverReason: {always: Coordinator | Committee | SafetyOfficer},
}

// Sees tells whether the caller sees this group of fields of the record, to be asked by whoever shows it, of what is there to be
// shown: that the caller was shown a medical status, contacts or a place is noted here, where it is decided.
func (c *Caller) Sees(g Group, s Subject) bool {
	sees := c.Writes(g, s)
	if sees && s.Of != "" && sights[g].noted != "" && s.Relation&Self == 0 {
		c.note(Reading{Fields: sights[g].noted, Of: s.Of, Place: g == Place})
	}
	return sees
}

// Writes tells whether the caller may write this group of fields: what a caller does not see, the caller does not write. It shows
// nothing, and notes nothing.
func (c *Caller) Writes(g Group, s Subject) bool {
	if c.Person == "" || g >= groupsEnd {
		return false
	}
	line, roles, tied := sights[g], c.In(s.Expeditions...), c.tied(s)
	if roles.Any(line.always) || tied&line.tied != 0 {
		return true
	}
	return tied&WatchRuns != 0 && (roles.Any(line.inWatch) || tied&line.tiedIn != 0)
}
