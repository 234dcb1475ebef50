# inspect on a scan folder; "something needs work" (1) is as good an answer as "done" (0).
execute_process(COMMAND ${PROGRAM} inspect ${SCAN}/photos --plan ${SCAN}/plan.json --out ${OUT} --quiet RESULT_VARIABLE status)
if(NOT status MATCHES "^[01]$")
  message(FATAL_ERROR "inspect ended with ${status}")
endif()
