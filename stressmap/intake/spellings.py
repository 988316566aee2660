"""How the columns of a readings file may be called, in English and Spanish."""

from __future__ import annotations

from stressmap.intake.heading_recognition import Field, names

PRESSURE_UNITS = ("bar", "MPa", "kPa", "psi")
FIELDS = {
    "tree_id": Field(
        names(
            "treeid tree tree_no tree_number tree_name arbol arbol_id id_arbol id_de_arbol arbol_no no_arbol "
            "no_de_arbol numero_arbol numero_de_arbol num_arbol planta plant plant_id"
        ),
        weak=names("id name nombre sample sample_id muestra point punto label etiqueta waypoint"),
    ),
    "time": Field(
        names(
            "datetime date_time timestamp measured_at time_local local_time reading_time read_at hora "
            "fecha_hora fecha_y_hora hora_lectura hora_de_lectura hora_de_medicion clock hour"
        ),
    ),
    "date": Field(names("fecha dia day date_measured fecha_lectura fecha_de_lectura fecha_de_medicion")),
    "lon": Field(
        names("long lng longitude longitud longitude_w lon_w long_w longitud_w longitud_o"), ("deg",)
    ),
    "lat": Field(names("latitude latitud latitude_n latitude_s lat_n lat_s latitud_n latitud_s"), ("deg",)),
    "position": Field(
        names("latlon lat_lon lat_long lat_lng latitude_longitude coordinates coordenadas coords"),
        weak=names("gps location ubicacion"),
    ),
    "x": Field(names("easting este utm_e utm_x x_utm coord_x east x_coord"), ("m", "ft")),
    "y": Field(names("northing norte utm_n utm_y y_utm coord_y north y_coord"), ("m", "ft")),
    "crs": Field(names("epsg srid srs")),
    "pressure": Field(
        names(
            "presion swp stem_water_potential midday_stem_water_potential mswp stem_psi psi_stem "
            "stem_wp chamber_pressure pressure_reading "
            "water_potential potential potencial potencial_hidrico potencial_hidrico_del_tallo "
            "potencial_del_tallo balance_pressure presion_de_balance end_point endpoint punto_final tension "
            "gauge manometro bar bars bares mpa kpa psi presion_de_camara first_reading reading_1 "
            "1st_reading first_pressure pressure_1 pressure1 primera_lectura lectura_1 1a_lectura "
            "1ra_lectura presion_1 presion1 primera_presion"
        ),
        PRESSURE_UNITS,
        weak=names("reading lectura value valor measurement medicion"),
        shown="pressure_bar",
    ),
    "recheck": Field(
        names(
            "re_check recheck_pressure second_reading second_end_point second_pressure second pressure_2 "
            "pressure2 presion_2 presion2 segunda_lectura segunda_presion segundo_punto_final relectura "
            "comprobacion verificacion 2a_lectura 2_a_lectura 2da_lectura 2_lectura lectura_2 lectura2 "
            "2a_presion 2da_presion 2_presion segunda 2nd_reading 2nd_pressure 2nd_read 2nd second_read "
            "reading_2 reading2 re_reading re_read reread re_lectura 2a_lect 2da_lect lect_2 lectura_no_2 "
            "lectura_repetida presion_repetida presion_de_comprobacion 2o_punto_final reading_no_2 2nd_rdg "
            "rdg_2 2nd_press 2nd_end_point 2nd_endpoint second_endpoint repeat_reading repeated_reading "
            "check_reading bar_2 mpa_2 psi_2 2nd_bar 2nd_mpa 2nd_psi bar_2nd mpa_2nd psi_2nd"
        ),
        PRESSURE_UNITS,
        shown="recheck_bar",
    ),
    "unit": Field(names("units unidad unidades pressure_unit unidad_de_presion")),
    "bagged_at": Field(
        names(
            "bagged bag_time bag_on bag_start time_bagged hora_bolsa hora_de_bolsa embolsado "
            "hora_embolsado hora_de_embolsado tapado tapada tapado_a_las hora_tapado hora_de_tapado "
            "covered_at cover_time time_covered inicio_bolsa inicio_de_bolsa bolsa_inicio inicio_embolsado"
        )
    ),
    "bag_minutes": Field(
        names(
            "bag bag_time bagged bag_min bag_mins bag_duration time_in_bag min_in_bag minutes_bagged "
            "minutes_in_bag minutos_bolsa minutos_en_bolsa "
            "tiempo_bolsa tiempo_de_bolsa tiempo_en_bolsa tiempo_embolsado min_bolsa bolsa"
        ),
        ("min", "h"),
    ),
    "block": Field(
        names("block_id block_name block_no bloque lote cuadro cuartel tabla"), weak=names("field campo")
    ),
    "valve": Field(
        names("valve_id valve_name valve_no valve_zone valvula llave"),
        weak=names("zone zona sector set turno"),
    ),
    "temp": Field(
        names(
            "temperature temperatura air_temp air_temperature tair t_air temp_aire t_aire temperatura_aire "
            "temperatura_del_aire"
        ),
        ("C", "F"),
        weak=names("t"),
    ),
    "rh": Field(
        names("relative_humidity humidity humedad humedad_relativa humedad_rel hr hum_rel rel_hum hum"),
        ("%",),
    ),
    "gps_accuracy": Field(
        names("accuracy gps_error precision precision_gps horizontal_accuracy h_accuracy exactitud"),
        ("m", "ft"),
    ),
    "chamber": Field(names("chamber_id chamber_no camara camara_de_presion instrument instrumento equipo")),
    "crew": Field(
        names("operator operador cuadrilla technician tecnico initials iniciales"), weak=names("who quien")
    ),
    "leaf": Field(names("leaf_no leaf_id hoja no_hoja rep replicate repeticion replica")),
    "note": Field(
        names("notes comment comments nota notas observacion observaciones comentario comentarios remarks"),
        weak=names("desc description descripcion cmt"),
    ),
}
"""Our columns and the spellings recognised; also with the unit behind, ``SWP (MPa)``, ``temp_f``."""


PLACE = {name: FIELDS[name] for name in ("lon", "lat", "position", "x", "y", "crs")}
"""Those that say where; a geometry makes them idle."""
