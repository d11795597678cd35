DROP TABLE request, event, token, emergency_contact, medical_status, card, person, club;
DROP FUNCTION refuse_change();
