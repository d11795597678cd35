DROP TABLE role_grant, expedition_participant, expedition_site, expedition, policy, policy_in_force;
