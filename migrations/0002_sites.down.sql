DROP TABLE line_damage, permit, reading, survey, site_restricted, site;
DROP FUNCTION refuse_new_content();
