from django.db import migrations

# What surveys/models/counted.sql says of them now: each has one more column, at its end.
VIEWS = """
CREATE OR REPLACE VIEW heard_again AS
SELECT r.visit_id, r.stop_id
FROM surveys_blindlistening l
JOIN surveys_recording r ON r.id = l.recording_id
WHERE l.finished_at IS NOT NULL
  AND (SELECT count(*) FROM surveys_blindanswer a
       WHERE a.listening_id = l.recording_id AND a.is_usable) >= 2;

CREATE OR REPLACE VIEW counted_written AS
SELECT c.id,
       c.period_id,
       c.species_id,
       e.id IS NOT NULL AS listed,
       CASE WHEN c.counts_in_trends THEN c."index" END AS call_index,
       CASE WHEN c.counts_in_trends THEN f.by_id END AS confirmed_by_id,
       CASE WHEN c.counts_in_trends THEN f.at END AS confirmed_at,
       p.visit_id,
       p.stop_id,
       p.program_id,
       p.route_id,
       p.night,
       p.season_year,
       CASE WHEN c.counts_in_trends THEN coalesce(f.without_sheet, false) OR EXISTS (
           SELECT FROM heard_again h WHERE h.visit_id = p.visit_id AND h.stop_id = p.stop_id
       ) END AS checked
FROM counted_period p
JOIN call_within c ON c.period_id = p.id
LEFT JOIN surveys_confirmation f ON f.call_id = c.id
LEFT JOIN surveys_checklistentry e
  ON e.program_id = p.program_id
 AND e.species_id = c.species_id
 AND (e.listed_from IS NULL OR e.listed_from <= p.night)
 AND (e.listed_until IS NULL OR p.night <= e.listed_until);

CREATE OR REPLACE VIEW counted_record AS
SELECT w.period_id,
       x.species_id,
       max(CASE WHEN x.as_heard THEN w.call_index END) AS call_index,
       max(w.confirmed_by_id) FILTER (WHERE x.recorded_id = x.species_id) AS confirmed_by_id,
       max(w.confirmed_at) FILTER (WHERE x.recorded_id = x.species_id) AS confirmed_at,
       w.visit_id,
       w.stop_id,
       w.program_id,
       w.route_id,
       w.night,
       w.season_year,
       coalesce(bool_or(w.checked) FILTER (WHERE x.recorded_id = x.species_id), false) AS checked
FROM counted_written w
JOIN record_speaks_of x ON x.recorded_id = w.species_id
GROUP BY w.period_id, x.species_id, w.visit_id, w.stop_id, w.program_id, w.route_id, w.night,
         w.season_year;

CREATE OR REPLACE VIEW counted_period_species AS
SELECT p.id AS period_id,
       s.id AS species_id,
       s.code AS species_code,
       s.scientific_name,
       e.id IS NOT NULL AS listed,
       CASE
           WHEN s.id IN (SELECT joint_id FROM surveys_jointmember) THEN nullif(coalesce((
               SELECT max(CASE WHEN r.counts_in_trends THEN r."index" ELSE -1 END)
               FROM call_within r
               WHERE r.period_id = p.id
                 AND (r.species_id = s.id OR (s.id, r.species_id) IN (
                     SELECT joint_id, member_id FROM surveys_jointmember))
           ), CASE WHEN e.id IS NOT NULL THEN 0 END), -1)
           WHEN c.id IS NOT NULL THEN CASE WHEN c.counts_in_trends THEN c."index" END
           WHEN s.id IN (SELECT member_id FROM surveys_jointmember) AND EXISTS (
               SELECT FROM surveys_jointmember m
               JOIN call_within r ON r.species_id = m.joint_id
               WHERE m.member_id = s.id AND r.period_id = p.id
           ) THEN NULL
           WHEN e.id IS NOT NULL THEN 0
       END AS call_index,
       CASE WHEN c.counts_in_trends THEN f.by_id END AS confirmed_by_id,
       CASE WHEN c.counts_in_trends THEN f.at END AS confirmed_at,
       CASE WHEN c.counts_in_trends THEN c."index" END AS recorded_index,
       (SELECT r."index" FROM surveys_callindex r
        WHERE r.period_id = p.id AND r.species_id = s.id AND r.distance = 'far'
          AND r.counts_in_trends) AS far_index,
       p.visit_id,
       p.stop_id,
       p.program_id,
       p.route_id,
       p.route_code,
       p.region,
       p.night,
       p.season_year,
       p.started_at,
       p.changed_at,
       CASE WHEN c.counts_in_trends THEN coalesce(f.without_sheet, false) OR EXISTS (
           SELECT FROM heard_again h WHERE h.visit_id = p.visit_id AND h.stop_id = p.stop_id
       ) END AS checked
FROM counted_period p
CROSS JOIN surveys_species s
LEFT JOIN surveys_checklistentry e
  ON e.program_id = p.program_id
 AND e.species_id = s.id
 AND (e.listed_from IS NULL OR e.listed_from <= p.night)
 AND (e.listed_until IS NULL OR p.night <= e.listed_until)
LEFT JOIN call_within c ON c.period_id = p.id AND c.species_id = s.id
LEFT JOIN surveys_confirmation f ON f.call_id = c.id;

CREATE OR REPLACE VIEW counted_call AS
SELECT period_id, species_id, species_code, scientific_name, call_index, recorded_index,
       far_index, confirmed_by_id, confirmed_at, visit_id, stop_id, program_id, route_id,
       route_code, region, night, season_year, started_at, changed_at, checked
FROM counted_period_species
WHERE listed;
"""


class Migration(migrations.Migration):

    dependencies = [
        ('surveys', '0049_blind_listening'),
    ]

    operations = [
        migrations.RunSQL(VIEWS),
    ]
